"""From a grid to a sheet: which row is the header, which column is which, which rows are data."""

import difflib
import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import pandas as pd

from trialkit.errors import Severity
from trialkit.intake.grid import Grid, columns_of, texts_of
from trialkit.intake.problems import Place, Problem, rows_where
from trialkit.intake.schemas import column_names, columns_of_type, one_row_is, required_columns

if TYPE_CHECKING:
    from trialkit.intake.preview import Preview

_HEADER_WITHIN: Final = 15
_NEAR: Final = 0.7
_TOTALS: Final = re.compile(
    r"(grand |sub ?)?(total|sum|mean|average|avg|count)s?\b.{0,20}:?", re.IGNORECASE
)


Columns = Mapping[Any, pd.Categorical]


@dataclass(frozen=True)
class _Body:
    """Spreadsheet rows below the header, and their columns by position."""

    rows: pd.Index
    columns: Columns


@dataclass(frozen=True)
class Sheet:
    """A table as typed: categorical texts under canonical column names, by spreadsheet row.

    ``passed_over`` are the rows that are no data (totals, repeated headers). ``preview`` shows the
    first rows of a mapped sheet beside the cells they came from.
    Where ``broken`` gives a reason, the table as a whole cannot be used; ``cells`` still holds the
    columns that could be told, so that their faults are found in the same pass.
    ``earlier`` are the days of earlier years in a station's file: date, tmin, tmax, rain.
    """

    place: Place
    cells: pd.DataFrame
    problems: tuple[Problem, ...] = ()
    broken: str = ""
    passed_over: pd.DataFrame = field(default_factory=pd.DataFrame)
    earlier: pd.DataFrame = field(default_factory=pd.DataFrame)
    preview: "Preview | None" = None

    @property
    def table(self) -> str:
        """Name of the table."""
        return self.place.table

    def with_problems(self, *more: Problem) -> "Sheet":
        """Return the sheet with further problems on its list."""
        return replace(self, problems=(*self.problems, *more))


def sheet_of_grid(grid: Grid, place: Place) -> Sheet:
    """Find the header and the data rows; every problem of the form of the sheet is collected."""
    breaking = [problem for problem in grid.problems if problem.breaks]
    if breaking:
        return Sheet(place, pd.DataFrame(), grid.problems, str(breaking[0].what))
    if grid.cells.empty:
        return Sheet(place, pd.DataFrame(), grid.problems)
    columns = columns_of(grid.cells)
    header = _header_at(columns, place.table)
    if header is None:
        return _without_header(grid, place)
    header_row, names = int(grid.cells.index[header]), _names(columns, header)
    form = [*_above(grid.cells, header_row), *_name_problems(names, place.table, header_row)]
    body = _below(columns, grid.cells.index, header)
    form += list(_nameless(body, names))
    cells = _known_columns(body, names, place.table)
    blank, again = _blank_rows(body), _repeated_headers(body, names)
    not_data = [*_blank(body, blank), *_again(again), *_totals(cells, place.table, again)]
    passed = [row for problem in not_data if problem.leaves_out for row in problem.rows]
    passed_over = cells.loc[passed].astype("object") if passed else pd.DataFrame()
    if passed or blank:
        cells = cells.drop(index=[*passed, *blank])
    written = _written(names)
    located = _located(grid.problems, written, header_row, cells)
    broken = next((str(problem.what) for problem in form if problem.breaks), "")
    return Sheet(
        place.with_headers(written), cells, (*located, *form, *not_data), broken, passed_over
    )


@lru_cache(maxsize=4096)
def bare_name(text: str) -> str:
    """Return a header in the form in which columns are compared.

    >>> bare_name(" Cull cause ")
    'cull_cause'
    """
    return re.sub(r"[\s\-_]+", "_", text.strip().casefold())


def _header_at(columns: Columns, table: str) -> int | None:
    """Position of the row with the most column names."""
    known = set(column_names(table))
    hits = []
    for row in _texts_of(columns, 0, _HEADER_WITHIN):
        hits.append(sum(isinstance(text, str) and bare_name(text) in known for text in row))
        if hits[-1] == len(row):  # no row below can have more
            break
    most = max(hits, default=0)
    return hits.index(most) if most else None


def _texts_of(columns: Columns, first: int, last: int) -> Iterator[tuple[object, ...]]:
    """Rows ``first`` up to ``last`` (counted from 0) as tuples of texts."""
    for at in range(first, min(last, *map(len, columns.values()))):
        yield tuple(column[at] for column in columns.values())


def _below(columns: Columns, rows: pd.Index, header: int) -> _Body:
    """The rows below the header; a slice, where rows count up."""
    below: slice | np.ndarray = slice(header + 1, None)
    if not isinstance(rows, pd.RangeIndex):
        below = np.asarray(rows > rows[header])
    return _Body(rows[below], {name: column[below] for name, column in columns.items()})


def _without_header(grid: Grid, place: Place) -> Sheet:
    needed = ", ".join(required_columns(place.table))
    problem = Problem(
        "no_header",
        "no row near the top holds the column names",
        f"Type them into the first row: {needed}",
        (1,),
        breaks=True,
    )
    return Sheet(place, pd.DataFrame(), (*grid.problems, problem), str(problem.what))


def _names(columns: Columns, header: int) -> dict[int, str]:
    """Headers by position, as typed; a position without one is left away."""
    (texts,) = _texts_of(columns, header, header + 1)
    return {position: str(text) for position, text in enumerate(texts) if isinstance(text, str)}


def _written(names: dict[int, str]) -> dict[str | int, str]:
    written: dict[str | int, str] = dict(names.items())
    for text in names.values():
        written.setdefault(bare_name(text), text)
    return written


def _known_columns(body: _Body, names: dict[int, str], table: str) -> pd.DataFrame:
    first: dict[str, int] = {}
    for position, text in names.items():
        first.setdefault(bare_name(text), position)
    known = {name: first[name] for name in column_names(table) if name in first}
    columns = {name: body.columns[position] for name, position in known.items()}
    return pd.DataFrame(columns, index=body.rows, columns=list(known), copy=False)


def _above(cells: pd.DataFrame, header_row: int) -> Iterator[Problem]:
    if cells.index[0] == header_row:
        return
    above = cells.loc[cells.index < header_row].dropna(how="all")
    if len(above):
        rows = [int(row) for row in above.index]
        one = len(rows) == 1
        shown = f"row {rows[0]} above it was" if one else f"the {len(rows)} rows above it were"
        yield Problem(
            "rows_above_header",
            f"the column names stand in row {header_row}; {shown} not read",
            "Keep titles and remarks out of the sheet, or check that no data stand there",
            (rows[0],),
            severity="note",
        )


def _name_problems(names: dict[int, str], table: str, row: int) -> Iterator[Problem]:
    present = [bare_name(text) for text in names.values()]
    missing = [name for name in required_columns(table) if name not in present]
    for twice in sorted(name for name, n in Counter(present).items() if n > 1):
        if twice in column_names(table):
            yield Problem(
                "duplicate_column",
                f"there are {present.count(twice)} columns named '{twice}'",
                "Keep the one that counts and rename the other",
                (row,),
                twice,
                breaks=True,
                value=twice,
            )
    for text in names.values():
        if bare_name(text) not in column_names(table):
            problem, explains = _unknown(text, table, present, row)
            missing = [name for name in missing if name != explains]
            yield problem
    for name in missing:
        yield Problem(
            "missing_column",
            f"there is no column '{name}'",
            f"Add it; the columns of {table} are {', '.join(column_names(table))}",
            (row,),
            name,
            breaks=True,
        )


def _unknown(text: str, table: str, present: list[str], row: int) -> tuple[Problem, str]:
    """An unknown column, and the missing column that it probably is."""
    absent = [name for name in column_names(table) if name not in present]
    near = _nearest(bare_name(text), absent)
    if near:
        needed = near in required_columns(table)
        return Problem(
            "unknown_column",
            f"unknown column '{text}'",
            f"Did you mean '{near}'? Rename it",
            (row,),
            text,
            "error" if needed else "question",
            breaks=needed,
            value=text,
        ), near
    return Problem(
        "unknown_column",
        f"column '{text}' is not one that {table} knows; it was not read",
        "Nothing needs doing if it is for yourself only",
        (row,),
        text,
        "note",
        value=text,
    ), ""


def _nearest(name: str, known: list[str]) -> str:
    starts = [one for one in known if re.match(rf"{re.escape(one)}(_|[^a-z])", name)]
    near = starts or difflib.get_close_matches(name, known, 1, _NEAR)
    return near[0] if near else ""


def _nameless(body: _Body, names: dict[int, str]) -> Iterator[Problem]:
    """Entries beyond the named columns; a number there may be the other half of a split one."""
    for position, column in body.columns.items():
        if position in names or (column.codes < 0).all():
            continue
        cells = pd.Series(column, index=body.rows)
        filled = cells.notna()
        numeric = filled & cells.isin([t for t in texts_of(column) if t[:1].isdigit()])
        kinds: tuple[tuple[pd.Series[bool], Severity], ...]
        kinds = ((numeric, "error"), (filled & ~numeric, "question"))
        for mask, severity in kinds:
            if mask.any():
                yield Problem(
                    "cell_outside_columns",
                    [f"'{text}' stands where no column has a name" for text in cells[mask]],
                    "Name the column; a comma inside a number or text also splits a cell in two",
                    rows_where(mask),
                    int(position),
                    severity,
                )


def _blank_rows(body: _Body) -> list[int]:
    empty = np.logical_and.reduce([column.codes < 0 for column in body.columns.values()])
    return [int(row) for row in body.rows[empty]]


def _blank(body: _Body, blank: list[int]) -> Iterator[Problem]:
    if not blank:
        return
    filled = body.rows.difference(blank)
    inside = [row for row in blank if len(filled) and row < filled[-1]]
    if inside:
        many = (
            f"{len(inside)} rows are blank; this is the first" if inside[1:] else "the row is blank"
        )
        yield Problem(
            "blank_rows",
            many,
            "Nothing needs doing; it was passed over",
            inside[:1],
            severity="note",
        )


def _repeated_headers(body: _Body, names: dict[int, str]) -> list[int]:
    """Rows that repeat the column names."""
    again = np.full(len(body.rows), bool(names))
    for position, text in names.items():
        if not again.any():
            break
        again &= _says(body.columns[position], text)
    return [int(row) for row in body.rows[again]]


def _says(column: pd.Categorical, text: str) -> np.ndarray:
    """Rows whose cell is a text, told by the codes of the categories."""
    known = column.categories
    return column.codes == (known.get_loc(text) if text in known else len(known))


def _again(rows: list[int]) -> Iterator[Problem]:
    if rows:
        yield Problem(
            "repeated_header",
            "the row repeats the column names; it was not read as data",
            "Delete the row when you next edit the sheet",
            rows,
            severity="note",
            leaves_out=True,
        )


def _totals(cells: pd.DataFrame, table: str, again: list[int]) -> Iterator[Problem]:
    """Rows of totals; one that repeats the header, "count" among it, is none."""
    labelled, columns = np.zeros(len(cells), dtype=bool), columns_of(cells)
    for name, column in columns.items():
        if name in ("note", "observer", "lost", "item", "unit"):
            continue
        labels = [number for number, t in enumerate(texts_of(column)) if _TOTALS.fullmatch(t)]
        if labels:
            labelled |= np.isin(column.codes, labels)
    labelled |= cells.index.isin(_unlabelled_sums(cells, columns, table))
    labelled &= ~cells.index.isin(again)
    if labelled.any():
        yield Problem(
            "totals_row",
            "this is a row of totals, not an observation; it was not read as data",
            "Keep totals out of the sheet",
            cells.index[labelled].tolist(),
            severity="note",
            leaves_out=True,
        )


def _unlabelled_sums(cells: pd.DataFrame, columns: Columns, table: str) -> list[int]:
    """The last row, where it tells of no plot and its numbers are the sums of those above."""
    numeric = [name for name in columns_of_type(table, float) if name in cells]
    others = [name for name in cells if name not in numeric]
    if not numeric or not others or len(cells) < 3:
        return []
    if any(columns[name].codes[-1] >= 0 for name in others):
        return []
    filled = cells.loc[cells.notna().any(axis=1)]
    last = filled.iloc[-1].dropna()
    if len(filled) < 3 or not set(last.index) <= set(numeric):
        return []
    numbers = filled[list(last.index)].astype("str").apply(pd.to_numeric, errors="coerce")
    sums, typed = numbers.iloc[:-1].sum(), numbers.iloc[-1]
    return (
        [int(filled.index[-1])] if bool(((sums - typed).abs() <= 1e-3 * sums.abs()).all()) else []
    )


def _located(
    problems: tuple[Problem, ...],
    written: dict[str | int, str],
    header_row: int,
    cells: pd.DataFrame,
) -> list[Problem]:
    """Grid problems under the canonical name of their column, without those above the data."""
    located = []
    for problem in problems:
        if not problem.rows:
            located.append(problem)
            continue
        rows = [row for row in problem.rows if row > header_row]
        if not rows:
            continue
        name = bare_name(str(written.get(problem.column, "")))
        column = name if name in cells.columns else problem.column
        located.append(replace(problem, rows=rows, column=column))
    return located


def describe_empty(table: str) -> str:
    """Say what to type into a sheet that has no rows yet."""
    needed = ", ".join(required_columns(table))
    return f"Type one row for each of these: {one_row_is(table)} ({needed} must be filled)"
