"""Which reports are due, and running them with papermill: one after the other or many at once."""

from trialkit.batch.run import Request, Summary, render, survey

__all__ = ["Request", "Summary", "render", "survey"]
