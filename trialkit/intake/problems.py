"""Problems found in a sheet, rule by rule, and the faults and left-out rows they become.

A rule looks at a whole column at once and yields one :class:`Problem` for all rows it hits; only
the rows that are hit are ever looked at one by one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import pandas as pd
from openpyxl.utils import get_column_letter

from trialkit.errors import Fault, Severity, sentence

LEFT_OUT: Final = ("table", "file", "row", "plot", "date", "code", "reason")


# Where one spreadsheet row becomes several tidy ones, each carries its row and the column that it
# came from in one number: position of the column from 1, times this, plus the row.
ROW_STRIDE: Final = 1_000_000_000
# Where several files make one table, the number of the file (from 0), times this, is added.
SHEET_STRIDE: Final = 100_000 * ROW_STRIDE


def source_row(row: int) -> int:
    """Return the spreadsheet row of a tidy row.

    >>> source_row(7), source_row(3 * ROW_STRIDE + 7)
    (7, 7)
    """
    return row % ROW_STRIDE


@dataclass(frozen=True)
class Problem:
    """One rule broken in some rows of one column of a sheet.

    ``rows`` are spreadsheet rows (none: the whole sheet). ``what`` and ``remedy`` are one text for
    all rows or one text a row; ``{value}`` in them stands for the cell as typed. ``column`` is the
    canonical name, or the position of a column that has none. ``leaves_out`` rows drop out of the
    tables (always so for an error); ``breaks`` means that the whole sheet cannot be used; ``once``
    tells of all rows in one fault at the first of them.
    """

    code: str
    what: str | Sequence[str]
    remedy: str | Sequence[str]
    rows: Sequence[int] = ()
    column: str | int = ""
    severity: Severity = "error"
    leaves_out: bool = False
    breaks: bool = False
    value: str = ""
    once: bool = False

    @property
    def blocks(self) -> bool:
        """True where the rows drop out of the tables."""
        return self.leaves_out or self.severity == "error"


@dataclass(frozen=True)
class Place:
    """Where a sheet came from, in the words of the person who typed it.

    ``file`` names the file as the user gave it, ``path`` names it from the study folder.
    ``written`` leads from canonical column names and from positions to the headers as typed.
    ``units`` are units of columns where they are not the study's. ``sources`` leads from positions
    (from 1) of columns that stood side by side to their headers; ``spread_cells`` is the column
    that their cells became. ``parts`` are the places of the files that make one table together.
    """

    table: str
    file: str
    path: str
    written: Mapping[str | int, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    sources: Mapping[int, str] = field(default_factory=dict)
    spread_cells: str = ""
    parts: tuple["Place", ...] = ()

    @property
    def paths(self) -> tuple[str, ...]:
        """Every file or sheet that the table came from, named from the study folder."""
        return tuple(part.path for part in self.parts) or (self.path,)

    def at(self, row: int) -> "Place":
        """Return the place of the file that a row came from."""
        return self.parts[row // SHEET_STRIDE] if self.parts else self

    def with_headers(self, written: Mapping[str | int, str]) -> "Place":
        """Return the same place, with its headers known."""
        return replace(self, written=written)


def rows_where(mask: "pd.Series[bool]") -> list[int]:
    """Return the spreadsheet rows at which ``mask`` holds."""
    return [int(row) for row in mask.index[mask.to_numpy(dtype=bool)]]


def as_faults(
    problems: Iterable[Problem], place: Place, cells: pd.DataFrame | None = None
) -> list[Fault]:
    """Turn problems into faults, one a row, in the order of rows; ``cells`` are the typed texts."""
    told = (_in_one(problem) if problem.once else problem for problem in problems)
    faults = [fault for problem in told for fault in _faults_of_one(problem, place, cells)]
    return sorted(faults, key=lambda fault: (fault.file if place.parts else "", fault.row))


def _in_one(problem: Problem) -> Problem:
    what, rows = _text(problem.what, 0), problem.rows
    if len(rows) > 1:
        what = f"{what} ({len(rows)} rows, this is the first)"
    return replace(problem, what=what, remedy=_text(problem.remedy, 0), rows=rows[:1])


def _faults_of_one(problem: Problem, place: Place, cells: pd.DataFrame | None) -> Iterable[Fault]:
    values = _typed(problem, cells)
    rows = list(problem.rows) or [0]
    whole = not problem.rows
    for number, (row, value) in enumerate(zip(rows, values, strict=True)):
        what, remedy = _text(problem.what, number), _text(problem.remedy, number)
        here = place if whole else place.at(row)
        yield Fault(
            here.file,
            source_row(row),
            _header_of(problem.column, here, row % SHEET_STRIDE),
            what.replace("{value}", _shown(value)),
            remedy.replace("{value}", _shown(value)),
            problem.code,
            problem.severity,
            value,
        )


def _header_of(column: str | int, place: Place, row: int) -> str:
    """Return the header as typed; a column without one goes by its spreadsheet letter."""
    source = row // ROW_STRIDE
    if source and column == place.spread_cells:
        return place.sources[source]
    if column in place.written:
        return place.written[column]
    return get_column_letter(column + 1) if isinstance(column, int) else column


def _text(texts: str | Sequence[str], number: int) -> str:
    return texts if isinstance(texts, str) else texts[number]


def _shown(value: str) -> str:
    return value if len(value) <= 60 else value[:57] + "..."


def _typed(problem: Problem, cells: pd.DataFrame | None) -> list[str]:
    if cells is None or problem.column not in cells.columns or not problem.rows or problem.value:
        return [problem.value] * max(1, len(problem.rows))
    column = cells[problem.column].reindex(list(problem.rows))
    return ["" if pd.isna(value) else str(value) for value in column.astype(object)]


def left_out_rows(problems: Iterable[Problem], place: Place, cells: pd.DataFrame) -> pd.DataFrame:
    """Return one row per spreadsheet row that drops out, with the first reason and what it held.

    Columns: LEFT_OUT; ``plot`` and ``date`` are as typed, so that a sum over a plot can be told
    from a sum that misses something.
    """
    blocking = [problem for problem in problems if problem.blocks and problem.rows]
    if not blocking:
        return empty_left_out()
    each = [replace(problem, once=False) for problem in blocking]
    first: dict[int, Fault] = {}
    for problem in each:
        for row, fault in zip(problem.rows, _faults_of_one(problem, place, cells), strict=True):
            if row in cells.index:
                first.setdefault(row, fault)
    rows = sorted(first)
    typed = cells.reindex(rows)
    return pd.DataFrame(
        {
            "table": place.table,
            "file": [place.at(row).path for row in rows],
            "row": rows,
            "plot": _column_or_empty(typed, "plot"),
            "date": _column_or_empty(typed, "date"),
            "code": [first[row].code for row in rows],
            "reason": [sentence(first[row].what) for row in rows],
        },
        columns=list(LEFT_OUT),
    )


def _column_or_empty(typed: pd.DataFrame, name: str) -> np.ndarray:
    if name not in typed:
        return np.full(len(typed), "", dtype=object)
    return typed[name].astype(object).where(typed[name].notna(), "").to_numpy(dtype=object)


def empty_left_out() -> pd.DataFrame:
    """Return a left-out table without rows."""
    return _EMPTY.copy()


_EMPTY: Final = pd.DataFrame(columns=list(LEFT_OUT), dtype="object")
