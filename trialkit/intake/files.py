"""Which files a site-season has, and the sheets in them."""

import difflib
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import pandas as pd

from trialkit.columns import TABLES
from trialkit.errors import Fault
from trialkit.intake.grid import Grid
from trialkit.intake.header import Sheet, bare_name, sheet_of_grid
from trialkit.intake.mapping import mapped_sheet
from trialkit.intake.problems import Place, Problem
from trialkit.intake.schemas import column_names
from trialkit.intake.stack import table_of, visit_of
from trialkit.intake.station_file import is_station_file, read_station_file
from trialkit.intake.text_file import grid_of_text
from trialkit.intake.workbook import grids_of_workbook
from trialkit.study import Study

WORKBOOK_SUFFIXES: Final = (".xlsx", ".xlsm", ".ods")
TEXT_SUFFIXES: Final = (".csv", ".tsv", ".txt")
_OTHER_WORKBOOKS: Final = (".xls", ".numbers", ".gsheet")


@dataclass(frozen=True)
class FileRecord:
    """A file that was read: path from the study folder, checksum of its bytes, rows of data."""

    path: str
    sha256: str
    rows: int


@dataclass(frozen=True)
class Found:
    """The sheets of a folder, the files they came from, and what was wrong with the files.

    A table has one sheet, or one for every visit in the order of file names.
    """

    sheets: dict[str, tuple[Sheet, ...]] = field(default_factory=dict)
    files: tuple[FileRecord, ...] = ()
    faults: tuple[Fault, ...] = ()
    unusable: str = ""


def find_sheets(study: Study, folder: Path) -> Found:
    """Read every sheet of a site-season's folder: CSV files or one workbook, and visits' files."""
    names = sorted(path for path in folder.iterdir() if _is_data(path))
    if study.intake:
        return _mapped(study, names)
    visits = [path for path in names if _is_visit(path)]
    found = _whole_tables(study, folder, [path for path in names if path not in visits])
    for path in visits:
        found = _with_visit(found, study, path)
    return found


def _is_visit(path: Path) -> bool:
    return bool(visit_of(path)) and path.suffix.casefold() in (".csv", *WORKBOOK_SUFFIXES)


def _whole_tables(study: Study, folder: Path, names: list[Path]) -> Found:
    """Read the files that hold whole tables: CSV files, or the one workbook."""
    texts = {path.stem.casefold(): path for path in names if path.suffix.casefold() == ".csv"}
    tables: dict[str, Path] = {str(table): texts[table] for table in TABLES if table in texts}
    books = [path for path in names if path.suffix.casefold() in WORKBOOK_SUFFIXES]
    strangers = tuple(_strangers(names, tables, books))
    if len(books) > 1 or (books and tables):
        return Found(faults=(*strangers, _two_sources(folder, books)), unusable=_TWO_SOURCES)
    found = _from_workbook(study, books[0]) if books else _from_texts(study, tables)
    return Found(found.sheets, found.files, (*strangers, *found.faults), found.unusable)


def _with_visit(found: Found, study: Study, path: Path) -> Found:
    """Return what was found with the sheets of one visit's file, named after a table and a day."""
    if path.suffix.casefold() == ".csv":
        sheet, record = read_text_sheet(study, visit_of(path), path)
        new = Found({sheet.table: (sheet,)}, (record,))
    else:
        new = _from_workbook(study, path, visit_of(path))
    sheets = dict(found.sheets)
    for table, more in new.sheets.items():
        sheets[table] = (*sheets.get(table, ()), *more)
    files, faults = (*found.files, *new.files), (*found.faults, *new.faults)
    return replace(found, sheets=sheets, files=files, faults=faults)


def _mapped(study: Study, names: list[Path]) -> Found:
    """Read the sheets that study.toml maps, and those that bear the name of a table."""
    found = Found()
    for path in names:
        suffix = path.suffix.casefold()
        if suffix in (*TEXT_SUFFIXES, *WORKBOOK_SUFFIXES):
            found = _with_file(found, study, path)
        elif suffix in _OTHER_WORKBOOKS:
            remedy = "Save it as .xlsx"
            fault = _unread(path, "a workbook of this kind is not read", remedy, "error")
            found = replace(found, faults=(*found.faults, fault))
    return found


def _with_file(found: Found, study: Study, path: Path) -> Found:
    """Return what was found with the sheets of one more file."""
    data = path.read_bytes()
    grids = _grids(study, path, data)
    record = FileRecord(relative(study, path), _checksum(data), 0)
    if isinstance(grids, Problem):
        what = str(grids.what)
        fault = Fault(path.as_posix(), 0, "", what, str(grids.remedy), grids.code)
        return Found(found.sheets, (*found.files, record), (*found.faults, fault), what)
    sheets, faults, unusable = dict(found.sheets), list(found.faults), found.unusable
    for title, grid in grids.items():
        sheet = _mapped_sheet(study, path, title, grid)
        if isinstance(sheet, Fault):
            faults.append(sheet)
        elif sheet.table in sheets and not visit_of(path):
            faults.append(_again(sheet, sheets[sheet.table][0]))
            unusable = _TWO_SOURCES
        else:
            sheets[sheet.table] = (*sheets.get(sheet.table, ()), sheet)
            record = replace(record, rows=record.rows + len(sheet.cells))
    return Found(sheets, (*found.files, record), tuple(faults), unusable)


def _grids(study: Study, path: Path, data: bytes) -> dict[str, Grid] | Problem:
    """Grids by the title of the sheet; a text file has one, without a title."""
    if path.suffix.casefold() in WORKBOOK_SUFFIXES:
        return grids_of_workbook(data)
    known = {name for table in TABLES for name in column_names(table)}
    for mapping in study.intake.values():
        known |= {name.casefold() for name in mapping.rename}
    return {"": grid_of_text(data, known)}


def _mapped_sheet(study: Study, path: Path, title: str, grid: Grid) -> Sheet | Fault:
    file = path.as_posix() + (f"#{title}" if title else "")
    name = relative(study, path) + (f"#{title}" if title else "")
    for table, mapping in study.intake.items():
        if mapping.is_of(path.name, title):
            return mapped_sheet(grid, Place(table, file, name), mapping)
    table = bare_name(title or path.stem)
    if table in TABLES and table not in study.intake:
        return sheet_of_grid(grid, Place(table, file, name))
    remedy = "Nothing needs doing if it holds no data; else name it under [intake] in study.toml"
    return Fault(file, what="it was not read", remedy=remedy, code="unknown_sheet", severity="note")


def _again(found: Sheet, first: Sheet) -> Fault:
    return Fault(
        found.place.file,
        what=f"it holds {found.table}, which {first.place.path} holds already",
        remedy="Keep one of them, or name one only under [intake] in study.toml",
        code="two_sources",
    )


def read_text_sheet(study: Study, table: str, path: Path) -> tuple[Sheet, FileRecord]:
    """Read one CSV file as a table."""
    data = path.read_bytes()
    place = Place(table, path.as_posix(), relative(study, path))
    grid = grid_of_text(data, column_names(table))
    if table == "weather" and is_station_file(grid):
        station = read_station_file(grid, path.parent.parent.name)
        sheet = sheet_of_grid(station.grid, replace(place, units=station.units))
        sheet = replace(sheet, earlier=station.earlier)
    else:
        sheet = sheet_of_grid(grid, place)
    return sheet, FileRecord(place.path, _checksum(data), len(sheet.cells))


def relative(study: Study, path: Path) -> str:
    """Return the path as seen from the study folder, the same on every machine."""
    return path.relative_to(study.folder).as_posix()


def _is_data(path: Path) -> bool:
    return path.is_file() and not path.name.startswith((".", "~$"))


def _checksum(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


_TWO_SOURCES: Final = "it is not clear which of several files holds the data"


def _two_sources(folder: Path, books: list[Path]) -> Fault:
    listed = ", ".join(book.name for book in books)
    return Fault(
        folder.as_posix(),
        what=f"there are several sources of the same tables: {listed}"
        + ("" if len(books) > 1 else " and CSV files"),
        remedy="Keep either the CSV files or one workbook; give the file of a single visit the "
        "name of a table and a day, such as scouting_2027-06-12.xlsx",
        code="two_sources",
    )


def _strangers(names: list[Path], tables: dict[str, Path], books: list[Path]) -> Iterator[Fault]:
    for path in names:
        if path in tables.values() or path in books:
            continue
        suffix = path.suffix.casefold()
        near = difflib.get_close_matches(path.stem.casefold(), TABLES, 1, 0.7)
        if suffix in (*TEXT_SUFFIXES, *WORKBOOK_SUFFIXES) and near and near[0] not in tables:
            remedy = f"Did you mean {near[0]}.csv? Rename it"
            yield _unread(path, "the file was not read", remedy, "question")
        elif suffix in _OTHER_WORKBOOKS:
            yield _unread(path, "a workbook of this kind is not read", "Save it as .xlsx", "error")
        elif suffix in TEXT_SUFFIXES:
            remedy = f"Nothing needs doing; known names are {', '.join(TABLES)}"
            yield _unread(path, "the file is none of the tables and was not read", remedy, "note")


def _unread(path: Path, what: str, remedy: str, severity: str) -> Fault:
    return Fault(
        path.as_posix(),
        what=what,
        remedy=remedy,
        code="unknown_file",
        severity=severity,  # type: ignore[arg-type]
    )


def _from_texts(study: Study, tables: dict[str, Path]) -> Found:
    read = {table: read_text_sheet(study, table, path) for table, path in tables.items()}
    sheets: dict[str, tuple[Sheet, ...]] = {t: (sheet,) for t, (sheet, _) in read.items()}
    return Found(sheets, tuple(record for _, record in read.values()))


def _from_workbook(study: Study, path: Path, visit: str = "") -> Found:
    """Read a workbook; in one of a single visit a lone sheet is the table that the file names."""
    data = path.read_bytes()
    grids = grids_of_workbook(data)
    if not isinstance(grids, dict):
        fault = Fault(path.as_posix(), 0, "", str(grids.what), str(grids.remedy), grids.code)
        record = FileRecord(relative(study, path), _checksum(data), 0)
        lost = _unreadable_visit(study, path, visit, grids)
        return Found(lost, (record,), (fault,), str(grids.what))
    sheets, faults = _named_sheets(study, path, grids, visit)
    rows = sum(len(sheet.cells) for (sheet,) in sheets.values())
    record = FileRecord(relative(study, path), _checksum(data), rows)
    return Found(sheets, (record,), tuple(faults))


def _unreadable_visit(
    study: Study, path: Path, visit: str, why: Problem
) -> dict[str, tuple[Sheet, ...]]:
    """The sheet of a visit that cannot be read: its table lacks a day and cannot be used."""
    if not visit:
        return {}
    place = Place(visit, path.as_posix(), relative(study, path))
    return {visit: (Sheet(place, pd.DataFrame(), (), str(why.what)),)}


def _named_sheets(
    study: Study, path: Path, grids: dict[str, Grid], visit: str = ""
) -> tuple[dict[str, tuple[Sheet, ...]], list[Fault]]:
    sheets: dict[str, tuple[Sheet, ...]] = {}
    faults = []
    for title, grid in grids.items():
        table = table_of(title, visit, alone=len(grids) == 1)
        file = f"{path.as_posix()}#{title}"
        if table in TABLES and table not in sheets:
            place = Place(table, file, f"{relative(study, path)}#{title}")
            sheets[table] = (sheet_of_grid(grid, place),)
            continue
        near = difflib.get_close_matches(table, TABLES, 1, 0.7)
        faults.append(
            Fault(
                file,
                what=f"the sheet '{title}' was not read",
                remedy=f"Did you mean '{near[0]}'? Rename it"
                if near
                else "Nothing needs doing if "
                f"it holds no data; known names are {', '.join(TABLES)}",
                code="unknown_sheet",
                severity="question" if near else "note",
            )
        )
    return sheets, faults
