"""Field sheets as plain tables with the private names gone, and corrections that still find them.

Whatever a sheet looked like (a workbook, dates across the top, headings filled down), its copy has
a header and one row below the other. So every line of corrections.csv is led to its row anew.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from trialkit.intake.corrections import (
    COLUMNS,
    Correction,
    column_of,
    read_corrections,
    row_text,
    rows_of,
)
from trialkit.intake.files import find_sheets, read_text_sheet
from trialkit.intake.grid import Grid
from trialkit.intake.header import Sheet, bare_name
from trialkit.intake.schemas import column_names
from trialkit.intake.station_file import is_station_file
from trialkit.intake.text_file import grid_of_text
from trialkit.publish.privacy import Names
from trialkit.study import Study

PERSONAL: Final = ("observer", "note")
_DAY: Final = re.compile(r"\d{4}-?\d\d-?\d\d")
_STATION: Final = "STATION"


@dataclass(frozen=True)
class Copied:
    """A sheet and its copy: the file from the study folder, the texts kept, the row of each."""

    sheet: Sheet
    file: str
    sheet_of_copy: Sheet
    rows: Mapping[int, int]


def coded_tables(
    study: Study, codes: Mapping[str, str], target: Path, names: Names
) -> list[Copied]:
    """Write the copy of every sheet of field data and of the costs; return what became of each.

    Sheets that cannot be read are not copied. Only columns that trialkit knows are, without
    observers and notes.
    """
    copied: list[Copied] = []
    for season, site in study.site_seasons():
        source = study.data_folder(season, site)
        place = f"data/{season}/{codes.get(site, site)}"
        if source.is_dir():
            (target / place).mkdir(parents=True)
            copied += _of_folder(study, source, place, target, names)
    costs = study.folder / "costs.csv"
    if costs.is_file():
        sheet, _ = read_text_sheet(study, "costs", costs)
        copied += [_written(sheet, "costs.csv", target, names)] if _is_sound(sheet) else []
    return copied


def _of_folder(
    study: Study, source: Path, place: str, target: Path, names: Names
) -> Iterator[Copied]:
    seen: set[str] = set()
    for sheets in find_sheets(study, source).sheets.values():
        for sheet in filter(_is_sound, sheets):
            name = _name(sheet, seen)
            station = _station_grid(study, sheet)
            if station is not None:
                yield _station_copy(sheet, station, f"{place}/{name}", target)
            else:
                yield _written(sheet, f"{place}/{name}", target, names)


def _is_sound(sheet: Sheet) -> bool:
    return not sheet.broken and len(sheet.cells.columns) > 0


def _name(sheet: Sheet, seen: set[str]) -> str:
    """Name of the copy: the table, and the day of a visit, but nothing else of the file's name."""
    file = sheet.place.path.partition("#")[0].rpartition("/")[2]
    day = _DAY.search(file) if bare_name(file).startswith(sheet.table) else None
    stem = f"{sheet.table}_{day[0]}" if day else sheet.table
    many = sum(one == stem or one.startswith(f"{stem}_") for one in seen)
    name = f"{stem}_{many + 1}" if many and day else stem
    seen.add(name)
    return f"{name}.csv"


def _written(sheet: Sheet, file: str, target: Path, names: Names) -> Copied:
    kept = [name for name in sheet.cells.columns if name not in PERSONAL]
    cells = sheet.cells[kept].astype("object")
    coded = cells.apply(lambda column: column.map(names.taken_out, na_action="ignore"))
    texts = coded.where(coded.notna(), "").to_numpy().tolist()
    with (target / file).open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([kept, *texts])
    rows = {int(row): at for at, row in enumerate(sheet.cells.index, 2)}
    return Copied(sheet, file, replace(sheet, cells=coded), rows)


def _station_grid(study: Study, sheet: Sheet) -> Grid | None:
    """The grid of a weather station's own file, or None for any other sheet."""
    if study.intake or not sheet.place.units:
        return None
    path = study.folder / sheet.place.path
    grid = grid_of_text(path.read_bytes(), column_names(sheet.table))
    return grid if is_station_file(grid) else None


def _station_copy(sheet: Sheet, grid: Grid, file: str, target: Path) -> Copied:
    """Copy a station's file line by line without the station's name, which would tell the place."""
    cells = grid.cells.astype("object")
    texts = cells.where(cells.notna(), "").to_numpy().tolist()
    with (target / file).open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows([_STATION, *row[1:]] for row in texts)
    rows = {int(row): int(row) for row in sheet.cells.index}
    return Copied(sheet, file, sheet, rows)


def coded_mappings(study: Study) -> dict[str, Any]:
    """Return ``[intake]`` for the copy: its tables are tidy, and in the units as typed."""
    return {
        table: {
            "files": [f"{table}*.csv"],
            **({"units": dict(mapping.units)} if mapping.units else {}),
        }
        for table, mapping in study.intake.items()
    }


def coded_corrections(study: Study, copied: Sequence[Copied], names: Names) -> list[list[str]]:
    """Return corrections.csv of the copy: its header, and each line where its cell is now.

    Lines about observers and notes stay behind, as do those that fit no sheet.
    """
    lines = []
    for line in read_corrections(study).lines:
        found = next((one for one in copied if one.sheet.place.path == line.file), None)
        moved = _moved(line, found) if found else None
        if moved is not None and moved.column not in PERSONAL:
            told = replace(moved, who="somebody" if line.who else "")
            lines.append([names.taken_out(_text(told, name)) for name in COLUMNS])
    return [list(COLUMNS), *lines]


def _moved(line: Correction, copied: Copied) -> Correction | None:
    """A line as it has to stand to mean the same cell of the copy."""
    at = rows_of(line, copied.sheet.cells, copied.sheet.place)
    row = next((copied.rows[one] for one in at if one in copied.rows), 0)
    column = column_of(line, copied.sheet.place) if line.column else ""
    if not row and (line.row or line.key):
        return None
    was = line.was
    if line.takes_row_out and not column:
        was = row_text(copied.sheet_of_copy.cells, at[0])
    return replace(line, file=copied.file, row=row, key="", column=column, was=was)


def _text(line: Correction, name: str) -> str:
    value = getattr(line, name)
    return "" if name == "row" and not value else str(value)


def observers(study: Study) -> frozenset[str]:
    """Everybody whom the data name: observers as typed or corrected, and who corrected."""
    found: set[str] = set()
    for season, site in study.site_seasons():
        folder = study.data_folder(season, site)
        for sheets in find_sheets(study, folder).sheets.values() if folder.is_dir() else ():
            found.update(name for sheet in sheets for name in _names_in(sheet))
    for line in read_corrections(study).lines:
        found.add(line.who)
        found.update((line.was, line.now) if bare_name(line.column) == "observer" else ())
    return frozenset(found - {""})


def _names_in(sheet: Sheet) -> Iterable[str]:
    if "observer" not in sheet.cells:
        return ()
    return (str(name) for name in sheet.cells["observer"].dropna().unique())
