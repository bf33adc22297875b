"""Faults that a person can act on.

Every fault says where it is, what is wrong and what to do; the command line prints it in the form
``FILE:ROW:COLUMN: what is wrong. What to do.`` and never as a traceback.
"""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "question", "note"]


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong in one place of one file.

    ``row`` is the line that a person sees in a spreadsheet (the header is row 1); 0 means the whole
    file. ``column`` is the header as written in the file, or empty. ``code`` is a stable short name
    of the rule, so that tests and the corrections file can point at it. An ``error`` blocks the
    value from the analysis, a ``question`` asks for a second look, a ``note`` only informs.
    """

    file: str
    row: int = 0
    column: str = ""
    what: str = ""
    remedy: str = ""
    code: str = ""
    severity: Severity = "error"
    value: str = ""

    def __str__(self) -> str:
        place = f"{self.file}:{self.row or ''}:{self.column}"
        return f"{place}: {sentence(self.what)} {sentence(self.remedy)}".rstrip()


def sentence(text: str) -> str:
    """Return ``text`` ending in a full stop (nothing for an empty text)."""
    text = text.strip()
    return text if not text or text.endswith((".", "?", "!")) else f"{text}."


class TrialkitError(Exception):
    """Base of all errors that trialkit raises on purpose; its text is printed as it is."""


class StudyError(TrialkitError):
    """The study description cannot be used; ``faults`` lists every reason found."""

    def __init__(self, faults: "tuple[Fault, ...]") -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


class DataError(TrialkitError):
    """The data files of a site-season cannot be used; ``faults`` lists every reason found."""

    def __init__(self, faults: "tuple[Fault, ...]") -> None:
        self.faults = faults
        super().__init__("\n".join(map(str, faults)))


class AnalysisError(TrialkitError):
    """A statistical question that the data given cannot answer, in words, with the remedy."""
