"""Faults of a plan that name the entry of study.toml they come from."""

from trialkit.errors import Fault, Severity
from trialkit.study import STUDY_FILE, Study
from trialkit.study.read import line_of


def entry_fault(
    study: Study, key: str, what: str, remedy: str, code: str, severity: Severity = "error"
) -> Fault:
    """Return a fault at an entry such as ``layout.blocks``, with its line where it is written."""
    path = study.folder / STUDY_FILE
    text = path.read_text(encoding="utf-8-sig") if path.is_file() else ""
    row = line_of(text, tuple(key.split(".")))
    return Fault(path.as_posix(), row, key, what, remedy, code, severity)
