"""Executed notebooks and their verdicts turned into self-contained pages."""

from trialkit.publish.index import IndexEntry, VerdictLine, index_page
from trialkit.publish.page import PageFacts, report_page

__all__ = ["IndexEntry", "PageFacts", "VerdictLine", "index_page", "report_page"]
