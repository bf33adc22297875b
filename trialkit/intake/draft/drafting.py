"""From a workbook to the draft of a study: sheet by sheet, then all of them together."""

import csv
import io
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from trialkit.columns import TABLES
from trialkit.errors import Fault, TrialkitError
from trialkit.intake.draft.contents import layout_rows, season_of, values_of
from trialkit.intake.draft.description import Mapped, description, escaped
from trialkit.intake.draft.guesses import Guess, guesses
from trialkit.intake.draft.shape import Shape, shape_of
from trialkit.intake.draft.words import identifier
from trialkit.intake.files import TEXT_SUFFIXES, WORKBOOK_SUFFIXES
from trialkit.intake.grid import Grid
from trialkit.intake.mapping import tidy_cells
from trialkit.intake.problems import Problem
from trialkit.intake.schemas import column_names
from trialkit.intake.text_file import grid_of_text
from trialkit.intake.workbook import grids_of_workbook
from trialkit.study import TableMapping

LOOKED_AT: Final = 5_000  # rows of a sheet that guesses are made from


@dataclass(frozen=True)
class Draft:
    """A drafted study: study.toml, further files by path from its folder, and what was done."""

    text: str
    files: Mapping[str, bytes]
    season: int
    site: str
    told: tuple[str, ...]


@dataclass(frozen=True)
class _Sheet:
    title: str
    shape: Shape
    guesses: tuple[Guess, ...]
    tidy: pd.DataFrame


def draft_study(
    path: Path, name: str, this_year: int, season: int | None = None, site: str | None = None
) -> Draft:
    """Look at a workbook or a text file and draft a study that reads it.

    ``name`` is the short name of the study; ``season`` and ``site`` go before what the workbook
    tells. Raises TrialkitError where the file cannot be read or holds no sheet that fits a table.
    """
    grids = _grids(path)
    sheets, passed = _by_table(grids)
    if not sheets:
        raise _unfit(path, "no sheet reads like a table of a trial", _NO_TABLE)
    tables = {table: sheet.tidy for table, sheet in sheets.items()}
    year = season or season_of(tables, this_year)[0]
    where = _site(path, site)
    mapped = [_mapped(sheet, path) for sheet in sheets.values()]
    plots = {} if "plots" in sheets else _plots(tables)
    place = f"data/{year}/{where[0]}"
    files = {f"{place}/{_file_name(path)}": path.read_bytes()}
    files |= {f"{place}/plots.csv": text for text in plots.values()}
    told = [*map(_told, sheets.values()), *plots, *passed]
    return Draft(description(name, tables, mapped, year, where), files, year, where[0], tuple(told))


_NO_TABLE: Final = (
    "Look whether a row holds names such as date, plot and count; "
    "start with `trialkit new FOLDER` and copy the data into its sheets"
)


def _unfit(path: Path, what: str, remedy: str) -> TrialkitError:
    return TrialkitError(str(Fault(path.as_posix(), what=what, remedy=remedy)))


def _grids(path: Path) -> dict[str, Grid]:
    suffix = path.suffix.casefold()
    if not path.is_file():
        raise _unfit(path, "there is no such file", "Name a workbook or a CSV file")
    if suffix not in (*WORKBOOK_SUFFIXES, *TEXT_SUFFIXES):
        raise _unfit(path, "a file of this kind is not read", "Save it as .xlsx, .ods or .csv")
    data = path.read_bytes()
    known = {name for table in TABLES for name in column_names(table)}
    grids = (
        grids_of_workbook(data) if suffix in WORKBOOK_SUFFIXES else {"": grid_of_text(data, known)}
    )
    if isinstance(grids, Problem):
        raise _unfit(path, str(grids.what), str(grids.remedy))
    broken = [problem for grid in grids.values() for problem in grid.problems if problem.breaks]
    if broken and len(broken) == len(grids):
        raise _unfit(path, str(broken[0].what), str(broken[0].remedy))
    return grids


def _by_table(grids: Mapping[str, Grid]) -> tuple[dict[str, _Sheet], list[str]]:
    """The likeliest sheet for each table, and what is told of those that were passed over."""
    best: dict[str, _Sheet] = {}
    passed = []
    for title, grid in grids.items():
        sheet = _sheet(title, grid)
        if sheet is None:
            passed.append(f"sheet '{title}' was passed over: it reads like no table")
        elif sheet.shape.table not in best:
            best[sheet.shape.table] = sheet
        else:
            table, first = sheet.shape.table, best[sheet.shape.table]
            better, other = sorted((first, sheet), key=lambda s: -s.shape.score)
            best[table] = better
            passed.append(f"sheet '{other.title}' was passed over: '{better.title}' holds {table}")
    return {table: best[table] for table in TABLES if table in best}, passed


def _sheet(title: str, grid: Grid) -> _Sheet | None:
    cells = grid.cells
    if cells.empty:
        return None
    head = cells.iloc[:LOOKED_AT].astype("object")
    rows = head.where(head.notna(), None).to_numpy().tolist()
    shape = shape_of(rows, title)
    if shape is None:
        return None
    merged = {p.column for p in grid.problems if p.code == "merged_cells"}
    found = guesses(rows, shape, title, {at for at in merged if isinstance(at, int)})
    tidy = tidy_cells(cells, shape.table, TableMapping(**_as_mapping(found)))
    values = values_of(tidy)
    found += [
        Guess("values", words, f"ids of study.toml for the words of {column}", column)
        for column, words in values.items()
    ]
    return _Sheet(title, shape, tuple(found), tidy)


def _as_mapping(found: Sequence[Guess]) -> dict[str, Any]:
    mapping: dict[str, Any] = {"sheets": ["*"]}
    for one in found:
        if one.part:
            mapping.setdefault(one.part, {})[one.name] = one.value
        else:
            mapping[one.key] = one.value
    return mapping


def _mapped(sheet: _Sheet, path: Path) -> Mapped:
    file = f"*{path.suffix.casefold()}" if sheet.title else escaped(_file_name(path))
    what = f"sheet '{sheet.title}'" if sheet.title else f"file {_file_name(path)}"
    return Mapped(sheet.shape.table, sheet.title, file, f"the {what} reads like it", sheet.guesses)


def _told(sheet: _Sheet) -> str:
    what = f"sheet '{sheet.title}'" if sheet.title else "the file"
    return f"{what} is read as {sheet.shape.table} ({len(sheet.tidy)} rows)"


def _file_name(path: Path) -> str:
    return path.name.lstrip(".~$") or f"workbook{path.suffix}"


def _site(path: Path, given: str | None) -> tuple[str, str, str]:
    """Id and name of the site, and the evidence."""
    if given:
        return identifier(given, "site"), given, ""
    words = re.sub(r"\b(19|20)\d\d\b", " ", re.sub(r"[_\W]+", " ", path.stem)).split()
    name = " ".join(words) or "site"
    return identifier(name, "site"), name, f"the file is called '{path.name}'"


def _plots(tables: Mapping[str, pd.DataFrame]) -> dict[str, bytes]:
    """What is told of the layout, and plots.csv drafted from the table that shows it."""
    table, rows, twice = layout_rows(tables)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["plot", "block", "treatment"])
    writer.writerows((plot, block, identifier(t, "treatment")) for plot, block, t in rows)
    told = f"plots.csv was drafted from {table}: {len(rows)} plots" if rows else _NO_LAYOUT
    if twice:
        told += f"; the sheet contradicts itself about plot {', '.join(twice)}"
    return {told: text.getvalue().encode()}


_NO_LAYOUT: Final = "no sheet tells block and treatment of the plots: fill in plots.csv"
