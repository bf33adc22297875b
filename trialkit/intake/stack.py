"""Several files for one table: a sheet for every visit, read as one table that keeps all places."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

import pandas as pd
from pandas.api.types import union_categoricals

from trialkit.columns import TABLES
from trialkit.intake.cells import Typed
from trialkit.intake.header import Sheet, bare_name
from trialkit.intake.problems import SHEET_STRIDE, Place, Problem
from trialkit.intake.schemas import column_names

_VISIT: Final = re.compile(rf"({'|'.join(TABLES)})[ _-]*\d{{4}}-?\d\d-?\d\d(?!\d).*", re.IGNORECASE)


def visit_of(path: Path) -> str:
    """Return the table that the name of a visit's file begins with, or nothing.

    >>> visit_of(Path("scouting_2027-06-12.xlsx")), visit_of(Path("scouting.csv"))
    ('scouting', '')
    """
    found = _VISIT.fullmatch(path.stem)
    return found[1].casefold() if found else ""


def table_of(title: str, visit: str, *, alone: bool) -> str:
    """Return the table that a sheet is called after; a visit's lone sheet may bear any title."""
    table = bare_name(title)
    return visit if visit and alone and table not in TABLES else table


def stacked(sheets: Sequence[Sheet]) -> Sheet:
    """Return one sheet of all rows; each keeps the file, row and column that it came from.

    One that cannot be used makes the whole table unusable: a visit that is not there would not be
    missed in a sum.
    """
    if len(sheets) == 1:
        return sheets[0]
    broken = next((f"{_name(s.place)}: {s.broken}" for s in sheets if s.broken), "")
    return Sheet(
        _place(sheets),
        _below_each_other([sheet.cells for sheet in sheets], sheets[0].table),
        tuple(_moved(p, at) for at, sheet in enumerate(sheets) for p in sheet.problems),
        broken,
        pd.concat([_numbered(sheet.passed_over, at) for at, sheet in enumerate(sheets)]),
    )


def without_copies(typed: Typed) -> Typed:
    """Keep one of the rows that say the same in several files, as lists of plots do.

    A reason for loss that stands in one of them only is taken; other differences stay, as faults.
    """
    parts = typed.frame.index // SHEET_STRIDE
    if not len(parts) or parts.max() == 0:
        return typed
    same = [name for name in typed.frame if name != "lost"]
    first = typed.frame.sort_values("lost", kind="stable", na_position="last")
    groups = first.groupby(same, dropna=False)["lost"]
    alike = groups.transform("nunique").reindex(typed.frame.index) <= 1
    twice_in_one = typed.frame.assign(part=parts).duplicated([*same, "part"], keep=False)
    copies = first.duplicated(same).reindex(typed.frame.index) & alike & ~twice_in_one
    kept = ~copies.to_numpy()
    sheet = replace(typed.sheet, cells=typed.sheet.cells[kept])
    return replace(typed, sheet=sheet, frame=typed.frame[kept], cells=typed.cells[kept])


def _place(sheets: Sequence[Sheet]) -> Place:
    """The place of the whole: headers of all files, and a name for what concerns no single one."""
    first = sheets[0].place
    written = {key: text for s in reversed(sheets) for key, text in s.place.written.items()}
    whole = f"{first.table} ({len(sheets)} files)"
    return replace(
        first,
        file=f"{first.file.rpartition('/')[0]}/{whole}",
        path=f"{first.path.rpartition('/')[0]}/{whole}",
        written=written,
        parts=tuple(sheet.place for sheet in sheets),
    )


def _name(place: Place) -> str:
    return place.path.rpartition("/")[2]


def _below_each_other(frames: Sequence[pd.DataFrame], table: str) -> pd.DataFrame:
    numbered = [_numbered(frame, at) for at, frame in enumerate(frames)]
    index = pd.concat([pd.Series(0, index=frame.index) for frame in numbered]).index
    known = [name for name in column_names(table) if any(name in frame for frame in frames)]
    columns = {name: union_categoricals([_column(f, name) for f in numbered]) for name in known}
    return pd.DataFrame(columns, index=index)


def _column(frame: pd.DataFrame, name: str) -> pd.Categorical:
    if name in frame:
        return pd.Categorical(frame[name].array)
    empty = pd.Index([], dtype="str")
    return pd.Categorical.from_codes([-1] * len(frame), empty)


def _numbered(frame: pd.DataFrame, at: int) -> pd.DataFrame:
    return frame.set_axis(frame.index.astype("int64") + at * SHEET_STRIDE, axis=0)


def _moved(problem: Problem, at: int) -> Problem:
    """A problem of one file among all; row 0 of a file is the file as a whole."""
    return replace(problem, rows=[at * SHEET_STRIDE + row for row in problem.rows or (0,)])
