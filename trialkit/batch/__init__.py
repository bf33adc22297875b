"""Which reports are due, and running them with papermill: one after the other or many at once."""

from trialkit.batch.run import Request, Summary, render, survey
from trialkit.batch.targets import chosen_targets
from trialkit.batch.word_records import change_lines, changes_dict, changes_of, confirm_words

__all__ = [
    "Request",
    "Summary",
    "change_lines",
    "changes_dict",
    "changes_of",
    "chosen_targets",
    "confirm_words",
    "render",
    "survey",
]
