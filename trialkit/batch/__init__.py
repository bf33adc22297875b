"""Which reports are due, and running them with papermill: one after the other or many at once.

Names load when first used: a kernel that runs the cells of a report needs little of this room.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from trialkit.batch.run import Request, Summary, render, survey
    from trialkit.batch.targets import chosen_targets
    from trialkit.batch.word_records import change_lines, changes_dict, changes_of, confirm_words

_HOMES: Final = {
    "Request": "run",
    "Summary": "run",
    "change_lines": "word_records",
    "changes_dict": "word_records",
    "changes_of": "word_records",
    "chosen_targets": "targets",
    "confirm_words": "word_records",
    "render": "run",
    "survey": "run",
}

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


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'trialkit.batch' has no attribute '{name}'")
    return getattr(import_module(f"trialkit.batch.{_HOMES[name]}"), name)
