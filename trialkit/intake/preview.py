"""The first tidy rows of a mapped sheet beside the cells that they came from."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd
from openpyxl.utils import get_column_letter

from trialkit.intake.header import Sheet
from trialkit.intake.problems import ROW_STRIDE, source_row
from trialkit.study import TableMapping

ROWS: Final = 3


@dataclass(frozen=True)
class Origin:
    """A value as the mapping reads it, and the cell that it came from (empty: study.toml)."""

    value: str
    cell: str


@dataclass(frozen=True)
class Preview:
    """First tidy rows of one sheet: for each row, its columns in order and their origins.

    ``file`` names the file, and the sheet after a ``#``, from the study folder.
    """

    file: str
    table: str
    rows: tuple[Mapping[str, Origin], ...]


@dataclass(frozen=True)
class Source:
    """A sheet as typed, and where its columns stand: canonical names by position."""

    cells: pd.DataFrame
    header_row: int
    names: Mapping[int, str]


def preview_of(sheet: Sheet, source: Source, mapping: TableMapping) -> Preview:
    """Return the first rows of a sheet, each value beside its cell."""
    at = {name: position for position, name in reversed(list(source.names.items()))}
    rows = []
    for row in sheet.cells.index[:ROWS]:
        values = sheet.cells.loc[row].dropna()
        told = {
            str(name): Origin(str(value), _cell(str(name), int(row), at, source, mapping))
            for name, value in values.items()
        }
        rows.append(told)
    return Preview(sheet.place.path, sheet.table, tuple(rows))


def _cell(name: str, row: int, at: Mapping[str, int], source: Source, mapping: TableMapping) -> str:
    """Letter and row of the cell that a value came from; empty where study.toml gives it."""
    if name in mapping.constant:
        return ""
    spread, typed = row // ROW_STRIDE, source_row(row)
    if mapping.spread and spread and name in (mapping.spread.headers, mapping.spread.cells):
        head = name == mapping.spread.headers
        return f"{get_column_letter(spread)}{source.header_row if head else typed}"
    position = at.get(name)
    above = source.cells.loc[source.header_row + 1 : typed]
    alone = above.index[above.notna().sum(axis=1) == 1] if mapping.heading else above.index[:0]
    if name == mapping.heading:
        return _named(above.loc[alone[-1]].first_valid_index(), alone[-1]) if len(alone) else ""
    if position is None:
        return ""
    lines = above[position].drop(alone)
    filled = lines.last_valid_index() if name in mapping.fill_down else typed
    return _named(position, filled) if filled is not None else ""


def _named(position: object, row: object) -> str:
    return f"{get_column_letter(int(str(position)) + 1)}{row}"
