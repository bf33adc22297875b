"""From any sheet to a tidy one, as ``[intake.TABLE]`` says; no cell loses its place."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.dates import one_order, read_dates
from trialkit.intake.grid import Grid
from trialkit.intake.header import Sheet, bare_name, sheet_of_grid
from trialkit.intake.preview import Source, preview_of
from trialkit.intake.problems import ROW_STRIDE, Place, Problem, source_row
from trialkit.intake.schemas import column_names, type_of
from trialkit.study import TableMapping

_HEADER_WITHIN: Final = 30
# Other words that a line above the plots of a block begins with.
_OTHER_WORDS: Final = {"block": ("replication", "replicate", "rep", "blk")}


@dataclass(frozen=True)
class _Wide:
    """A sheet under way: headers by position (as typed, and canonical), lines of data."""

    body: pd.DataFrame
    typed: dict[int, str]
    names: dict[int, str]
    header_row: int


def mapped_sheet(grid: Grid, place: Place, mapping: TableMapping) -> Sheet:
    """Return the tidy sheet that a mapping makes of a grid; rows keep the place they came from."""
    place = replace(place, units=mapping.units)
    if grid.cells.empty or any(problem.breaks for problem in grid.problems):
        return sheet_of_grid(grid, place)
    header_row = mapping.header_row or _likely_header(grid.cells, place.table, mapping)
    if header_row not in grid.cells.index:
        return _no_header(grid, place, header_row)
    wide, side = _told_apart(grid.cells, header_row, mapping)
    lost = _columns_not_there(wide, side, mapping)
    tidy = _tidy(wide, side, place.table, mapping)
    problems = tuple(_moved(p, wide, tidy, mapping) for p in grid.problems)
    sheet = sheet_of_grid(_grid(tidy, header_row, (*problems, *lost)), place)
    sheet = replace(sheet, place=_place(sheet.place, wide, side, mapping))
    source = Source(grid.cells, header_row, wide.names)
    return replace(sheet, preview=preview_of(sheet, source, mapping))


def tidy_cells(cells: pd.DataFrame, table: str, mapping: TableMapping) -> pd.DataFrame:
    """Return all columns of a sheet as a mapping with a header row makes them, unknown ones too."""
    return _tidy(*_told_apart(cells, mapping.header_row or 1, mapping), table, mapping)


def _told_apart(
    cells: pd.DataFrame, header_row: int, mapping: TableMapping
) -> tuple[_Wide, list[int]]:
    """The lines of data under their headers, and the columns that become rows."""
    wide = _filled_down(_under_headings(_wide(cells, header_row, mapping), mapping), mapping)
    return wide, _side_by_side(wide, mapping)


def _tidy(wide: _Wide, side: list[int], table: str, mapping: TableMapping) -> pd.DataFrame:
    tidy = _with_constants(_spread(wide, side, mapping), mapping)
    names = [str(name) for name in tidy.columns]
    columns = [_as_read(tidy.iloc[:, at], name, table, mapping) for at, name in enumerate(names)]
    return pd.concat(columns, axis=1) if columns else tidy


def _likely_header(cells: pd.DataFrame, table: str, mapping: TableMapping) -> int:
    known = {*column_names(table), *map(bare_name, mapping.rename)}
    if mapping.spread:
        known |= set(map(bare_name, mapping.spread.columns))
    hits = {
        int(row): sum(isinstance(t, str) and bare_name(t) in known for t in texts)
        for row, *texts in cells.head(_HEADER_WITHIN).itertuples()
    }
    return max(hits, key=lambda row: hits[row])


def _no_header(grid: Grid, place: Place, row: int) -> Sheet:
    what = f"the sheet has no row {row}, where study.toml says that the header stands"
    problem = Problem("no_header", what, "Mend header_row in study.toml", (row,), breaks=True)
    return sheet_of_grid(Grid(grid.cells.iloc[:0], (*grid.problems, problem)), place)


def _wide(cells: pd.DataFrame, header_row: int, mapping: TableMapping) -> _Wide:
    header = cells.loc[header_row].astype("object")
    typed = {at: str(text) for at, text in enumerate(header) if not pd.isna(text)}
    renamed = {bare_name(old): new for old, new in mapping.rename.items()}
    names = {at: renamed.get(bare_name(text), bare_name(text)) for at, text in typed.items()}
    body = cells.loc[cells.index > header_row]
    return _Wide(body[body.notna().any(axis=1)], typed, names, header_row)


def _under_headings(wide: _Wide, mapping: TableMapping) -> _Wide:
    """Give lines below a line of one entry that entry, as a column of its own."""
    if not mapping.heading:
        return wide
    alone = wide.body.notna().sum(axis=1) == 1
    first = wide.body.astype("object").bfill(axis=1).iloc[:, 0]
    words = "|".join(map(re.escape, (mapping.heading, *_OTHER_WORDS.get(mapping.heading, ()))))
    bare = first.astype("str").str.replace(rf"(?i)^({words})[\s:.#]*", "", regex=True)
    texts = bare.where(alone).ffill()
    at = max([*wide.typed, *wide.body.columns]) + 1
    body = wide.body.assign(heading=pd.Categorical(texts)).rename(columns={"heading": at})
    typed, names = {**wide.typed, at: mapping.heading}, {**wide.names, at: mapping.heading}
    return replace(wide, body=body[~alone], typed=typed, names=names)


def _filled_down(wide: _Wide, mapping: TableMapping) -> _Wide:
    at = [position for position, name in wide.names.items() if name in mapping.fill_down]
    return replace(wide, body=wide.body.assign().pipe(_fill, at))


def _fill(body: pd.DataFrame, at: list[int]) -> pd.DataFrame:
    filled = body.copy()
    for position in at:
        filled[position] = filled[position].ffill()
    return filled


def _side_by_side(wide: _Wide, mapping: TableMapping) -> list[int]:
    """Positions of the columns that become rows."""
    if not mapping.spread:
        return []
    listed = set(map(bare_name, mapping.spread.columns))
    if listed:
        return [at for at, text in wide.typed.items() if bare_name(text) in listed]
    is_one = _is_date(mapping) if mapping.spread.headers == "date" else str.isdigit
    return [at for at, text in wide.typed.items() if is_one(text)]


def _is_date(mapping: TableMapping) -> Callable[[str], bool]:
    return lambda text: read_dates([one_order(text, mapping.date_order)], None)[0].date is not None


def _columns_not_there(wide: _Wide, side: list[int], mapping: TableMapping) -> list[Problem]:
    """Columns that the mapping names and the sheet does not have."""
    there = {bare_name(text) for text in wide.typed.values()}
    asked = [*mapping.rename, *(mapping.spread.columns if mapping.spread else ())]
    problems = [
        Problem(
            "mapping",
            f"study.toml names a column '{text}', which the sheet does not have",
            f"Mend it there; the sheet has {', '.join(wide.typed.values())}",
            severity="question",
        )
        for text in asked
        if bare_name(text) not in there
    ]
    if mapping.spread and not side:
        what = f"no column is headed by a {mapping.spread.headers}"
        remedy = "Mend header_row or spread.columns in study.toml"
        problems.append(Problem("mapping", what, remedy, breaks=True))
    return problems


def _spread(wide: _Wide, side: list[int], mapping: TableMapping) -> pd.DataFrame:
    """One row per line of the sheet and column side by side; empty cells there are no rows."""
    kept = {at: name for at, name in wide.names.items() if at not in side}
    keys = wide.body[list(kept)].set_axis(list(kept.values()), axis=1)
    if not mapping.spread or not side:
        return keys
    parts = []
    for at in side:
        values = wide.body[at].astype("object").rename(mapping.spread.cells)
        part = keys.astype("object").drop(columns=mapping.spread.cells, errors="ignore")
        part = part.assign(**{mapping.spread.headers: wide.typed[at]}).join(values)
        part.index = part.index + (at + 1) * ROW_STRIDE
        parts.append(part[part[mapping.spread.cells].notna()])
    joined = pd.concat(parts)
    order = np.lexsort((joined.index // ROW_STRIDE, joined.index % ROW_STRIDE))
    return joined.iloc[order]


def _with_constants(tidy: pd.DataFrame, mapping: TableMapping) -> pd.DataFrame:
    return tidy.assign(**dict(mapping.constant))


def _as_read(cells: pd.Series, name: str, table: str, mapping: TableMapping) -> pd.Series:
    """Rewrite what the mapping says how to read: codes, decimal commas, the order of a date."""
    texts = cells.astype("object")
    texts = texts.where(~texts.isin(list(mapping.missing_codes)), None)
    words = {bare_name(old): new for old, new in mapping.values.get(name, {}).items()}
    if words:
        texts = _each(texts, lambda text: words.get(bare_name(text), text))
    if name in column_names(table):
        if mapping.decimal_comma and type_of(table, name) is float:
            texts = _each(texts, _decimal_point)
        if mapping.date_order and type_of(table, name) is pd.Timestamp:
            texts = _each(texts, lambda text: one_order(text, mapping.date_order))
    return texts.astype("category")


def _each(texts: pd.Series, change: Callable[[str], str]) -> pd.Series:
    return texts.map({text: change(str(text)) for text in texts.dropna().unique()})


def _decimal_point(text: str) -> str:
    """Return a number typed with a decimal comma with a point; any other text as it is.

    >>> _decimal_point("1.234,5"), _decimal_point("3,2"), _decimal_point("1.234")
    ('1234.5', '3.2', '1234')
    """
    whole, comma, part = text.partition(",")
    groups = whole.lstrip("+-").split(".")
    if all(g.isdigit() for g in groups) and all(len(g) == 3 for g in groups[1:]):
        whole = whole.replace(".", "")
    return f"{whole}.{part}" if comma and part.isdigit() else whole if not comma else text


def _moved(problem: Problem, wide: _Wide, tidy: pd.DataFrame, mapping: TableMapping) -> Problem:
    """A problem of the grid at the tidy rows that its cells became."""
    at = problem.column if isinstance(problem.column, int) else None
    name = wide.names.get(at, "") if at is not None else str(problem.column)
    if problem.code == "merged_cells" and name in mapping.fill_down:
        return replace(problem, severity="note", rows=())
    wanted, side = set(problem.rows), at is not None and name not in tidy
    rows = [
        int(row)
        for row in tidy.index
        if source_row(row) in wanted and (not side or row // ROW_STRIDE == (at or 0) + 1)
    ]
    column = mapping.spread.cells if side and mapping.spread else name
    return replace(problem, rows=rows if problem.rows else (), column=column)


def _grid(tidy: pd.DataFrame, header_row: int, problems: Iterable[Problem]) -> Grid:
    head = pd.DataFrame([list(tidy.columns)], index=[header_row], columns=tidy.columns)
    cells = pd.concat([head, tidy.astype("object")])
    cells = cells.set_axis(range(cells.shape[1]), axis=1)
    as_categories = {at: pd.Categorical(cells[at]) for at in cells}
    located = tuple(
        replace(p, column=list(tidy.columns).index(str(p.column)))
        if p.column in tidy.columns
        else p
        for p in problems
    )
    return Grid(pd.DataFrame(as_categories, index=cells.index), located)


def _place(place: Place, wide: _Wide, side: list[int], mapping: TableMapping) -> Place:
    """The place with the headers as typed, and those of columns that became rows."""
    typed = {name: wide.typed[at] for at, name in wide.names.items() if at not in side}
    written = {name: typed.get(str(text), str(text)) for name, text in place.written.items()}
    sources = {at + 1: wide.typed[at] for at in side}
    cells = mapping.spread.cells if mapping.spread else ""
    return replace(place, written=written, sources=sources, spread_cells=cells)
