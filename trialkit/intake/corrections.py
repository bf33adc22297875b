"""Corrections on record: what people typed stays as it is, and is read otherwise, with who and why.

``corrections.csv`` stands beside study.toml. A line names one cell, by file and row or by file and
key (``plot=101; date=2026-06-05``), what it said and what it is read as now. A line whose ``now``
is "seen, correct" answers a question about that cell instead. One whose ``now`` is "leave out row"
takes the row out of the tables, with its reason; its ``was`` says the cell named, or, where no
column is named, the whole row (``date=2026-06-05; plot=101; count=4``).
"""

import csv
import io
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

import pandas as pd

from trialkit.errors import Fault
from trialkit.intake.header import Sheet, bare_name
from trialkit.intake.problems import ROW_STRIDE, Place, Problem, source_row
from trialkit.intake.text_file import decoded, delimiter_of
from trialkit.study import Study

CORRECTIONS_FILE: Final = "corrections.csv"
COLUMNS: Final = ("file", "row", "key", "column", "was", "now", "code", "who", "when", "why")
SEEN: Final = "seen, correct"
LEAVE_OUT: Final = "leave out row"
_SIGNED: Final = ("who", "when", "why")
_NEEDED: Final = ("file", "column", "was", "now", *_SIGNED)
_MAX_BYTES: Final = 50_000_000
_LONGEST_ROW: Final = 10  # digits; no sheet has so many rows


@dataclass(frozen=True)
class Correction:
    """One line of corrections.csv; ``line`` is its row there. ``code`` is for answers only."""

    file: str
    row: int
    key: str
    column: str
    was: str
    now: str
    code: str = ""
    who: str = ""
    when: str = ""
    why: str = ""
    line: int = 0

    @property
    def is_answer(self) -> bool:
        """True where the line says that a cell was looked at and is right."""
        return self.now.casefold() == SEEN

    @property
    def takes_row_out(self) -> bool:
        """True where the line takes a whole row out of the tables."""
        return self.now.casefold() == LEAVE_OUT


@dataclass(frozen=True)
class Corrections:
    """All lines of corrections.csv that can be used, and what is wrong with the others."""

    path: str = CORRECTIONS_FILE
    lines: tuple[Correction, ...] = ()
    faults: tuple[Fault, ...] = ()

    def of_file(self, file: str) -> tuple[Correction, ...]:
        """Lines for one file or sheet, named from the study folder."""
        return tuple(line for line in self.lines if line.file == file)


@dataclass(frozen=True)
class Corrected:
    """A sheet with its corrections made, those that were made, and those that could not be."""

    sheet: Sheet
    made: tuple[Correction, ...] = ()
    faults: tuple[Fault, ...] = field(default=())


def read_corrections(study: Study) -> Corrections:
    """Read corrections.csv of a study; a study without one has nothing to correct."""
    path = study.folder / CORRECTIONS_FILE
    if not path.is_file():
        return Corrections()
    name = path.as_posix()
    text = _text_of(path)
    if isinstance(text, Fault):
        return Corrections(name, faults=(text,))
    try:
        delimiter = delimiter_of(text, COLUMNS)
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        what = f"the file cannot be read as a table ({error})"
        return Corrections(
            name, faults=(_wrong(name, 0, "", what, "Look for a stray quotation mark"),)
        )
    return _from_rows(name, rows)


def _text_of(path: Path) -> str | Fault:
    if path.stat().st_size > _MAX_BYTES:
        return _wrong(
            path.as_posix(), 0, "", "the file is over 50 MB", "Keep corrections only in it"
        )
    text, problems = decoded(path.read_bytes())
    if text is None:
        return _wrong(path.as_posix(), 0, "", str(problems[0].what), str(problems[0].remedy))
    return text


def _wrong(file: str, row: int, column: str, what: str, remedy: str) -> Fault:
    return Fault(file, row, column, what, remedy, "correction")


def _from_rows(name: str, rows: list[list[str]]) -> Corrections:
    header = [bare_name(text) for text in rows[0]] if rows else []
    missing = [column for column in _NEEDED if column not in header]
    if missing:
        remedy = f"Its columns are {', '.join(COLUMNS)}"
        what = f"there is no column '{missing[0]}'"
        return Corrections(name, faults=(_wrong(name, 1, missing[0], what, remedy),))
    lines, faults = [], []
    for number, row in enumerate(rows[1:], 2):
        cells = dict(zip(header, (text.strip() for text in row), strict=False))
        if not any(cells.values()):
            continue
        unfit = _unfit(name, number, cells)
        if unfit:
            faults.append(unfit)
        else:
            lines.append(_line(cells, number))
    return Corrections(name, tuple(lines), (*faults, *_twice(name, lines)))


def _unfit(name: str, number: int, cells: dict[str, str]) -> Fault | None:
    """The first reason why a line cannot be used."""
    row, key = cells.get("row", ""), cells.get("key", "")
    now = cells.get("now", "").casefold()
    answer = now == SEEN
    for column in ("file", *_SIGNED, *(() if now in (SEEN, LEAVE_OUT) else ("column",))):
        if not cells.get(column):
            remedy = "Every correction says where, who, when and why"
            return _wrong(name, number, column, f"'{column}' is empty", remedy)
    if row and not (row.isascii() and row.isdigit() and len(row) < _LONGEST_ROW):
        return _wrong(name, number, "row", f"'{row}' is not a row", "Type the row's number")
    if not answer and not row and not key:
        remedy = "Type the row, or a key such as plot=101; date=2026-06-05"
        return _wrong(name, number, "row", "neither row nor key is given", remedy)
    return None


def _line(cells: dict[str, str], number: int) -> Correction:
    texts = {name: cells.get(name, "") for name in COLUMNS if name != "row"}
    texts["file"] = texts["file"].replace("\\", "/")
    return Correction(row=int(cells.get("row") or 0), line=number, **texts)


def _twice(name: str, lines: list[Correction]) -> Iterator[Fault]:
    places = Counter(_cell(line) for line in lines if not line.is_answer)
    for line in lines:
        if not line.is_answer and places[_cell(line)] > 1:
            what = "another line corrects the same cell"
            yield _wrong(name, line.line, "row", what, "Keep the one that counts")


def _cell(line: Correction) -> tuple[str, int, str, str]:
    return line.file, line.row, line.key, bare_name(line.column)


def corrected(sheet: Sheet, corrections: Corrections) -> Corrected:
    """Return the sheet as its corrections have it; one that does not fit is an error, not made."""
    lines = [line for line in corrections.of_file(sheet.place.path) if not line.is_answer]
    if not lines or not len(sheet.cells.columns):
        return Corrected(sheet)
    cells, made, faults, out = sheet.cells.copy(), [], [], {}
    for line in lines:
        why_not = _why_not(line, sheet.cells, sheet.place)
        if why_not:
            what, remedy = why_not
            faults.append(_wrong(corrections.path, line.line, "was", what, remedy))
            continue
        row = rows_of(line, sheet.cells, sheet.place)[0]
        if line.takes_row_out:
            out[row] = line
        else:
            _write(cells, row, column_of(line, sheet.place), line.now)
        made.append(replace(line, row=source_row(row)))
    changed = _without_rows(replace(sheet, cells=cells), out)
    return Corrected(changed, tuple(made), tuple(faults))


def _without_rows(sheet: Sheet, out: Mapping[int, Correction]) -> Sheet:
    """Return the sheet without the rows taken out, which are told and listed as left out."""
    if not out:
        return sheet
    rows = sorted(out)
    taken = sheet.cells.loc[rows].astype("object")
    passed = taken if sheet.passed_over.empty else pd.concat([sheet.passed_over, taken])
    signed = [f"{out[row].who}, {out[row].when}: {out[row].why}" for row in rows]
    told = Problem(
        "taken_out",
        [f"the row was taken out on record ({text})" for text in signed],
        f"Nothing needs doing; take the line out of {CORRECTIONS_FILE} to have the row back",
        rows,
        severity="note",
        leaves_out=True,
    )
    return replace(sheet, cells=sheet.cells.drop(index=rows), passed_over=passed).with_problems(
        told
    )


def row_text(cells: pd.DataFrame, row: int) -> str:
    """Return all that a row says, as the ``was`` of a line that takes it out has it."""
    typed = cells.loc[row].dropna()
    return "; ".join(f"{name}={text}" for name, text in typed.items())


def column_of(line: Correction, place: Place) -> str:
    """The canonical column that a correction names, by its own name or as the sheet heads it."""
    if line.column in place.sources.values():
        return place.spread_cells
    headed = [str(name) for name, text in place.written.items() if text == line.column]
    return next((name for name in headed if not name.isdigit()), bare_name(line.column))


def rows_of(line: Correction, cells: pd.DataFrame, place: Place) -> list[int]:
    """Rows that a correction points at, by row, header of a column that became rows, and key."""
    rows = cells.index
    if line.row:
        rows = rows[rows % ROW_STRIDE == line.row]
    sources = [at for at, text in place.sources.items() if text == line.column]
    if sources:
        rows = rows[(rows // ROW_STRIDE).isin(sources)]
    for part in filter(None, (part.strip() for part in line.key.split(";"))):
        name, _, value = part.partition("=")
        if bare_name(name) not in cells:
            return []
        typed = cells.loc[rows, bare_name(name)].astype("object").fillna("")
        rows = rows[(typed == value.strip()).to_numpy()]
    return [int(row) for row in rows]


def _why_not(line: Correction, cells: pd.DataFrame, place: Place) -> tuple[str, str] | None:
    """What keeps a correction from being made, and what to do."""
    column, rows = column_of(line, place), rows_of(line, cells, place)
    whole = line.takes_row_out and not line.column
    if column not in cells and not whole:
        return f"{line.file} has no column '{line.column}'", f"It has {', '.join(cells.columns)}"
    if len(rows) != 1:
        at = f"row {line.row}" if line.row else f"'{line.key}'"
        found = f"{len(rows)} rows" if rows else "no row of data"
        return f"{at} points at {found} in {line.file}", "Point at one row of data"
    typed = row_text(cells, rows[0]) if whole else _cell_text(cells, rows[0], column)
    if typed != line.was:
        place_of = f"row {source_row(rows[0])} of {line.file}"
        under = "" if whole else f" under {column}"
        what = f"{place_of} says '{typed}'{under}, not '{line.was}'"
        return what, "The file was edited since; mend this line, or take it out"
    return None


def _cell_text(cells: pd.DataFrame, row: int, column: str) -> str:
    return str(cells[column].astype("object").fillna("").loc[row])


def _write(cells: pd.DataFrame, row: int, column: str, now: str) -> None:
    if now and now not in cells[column].cat.categories:
        cells[column] = cells[column].cat.add_categories([now])
    cells.loc[row, column] = now or pd.NA


def answered(fault: Fault, file: str, answers: Iterable[Correction]) -> Correction | None:
    """Return the answer to a question, where one names its file, row, column, value and rule."""
    if fault.severity != "question":
        return None
    return next((answer for answer in answers if _answers(answer, fault, file)), None)


def _answers(answer: Correction, fault: Fault, file: str) -> bool:
    return (
        answer.file == file
        and answer.row == fault.row
        and bare_name(answer.column) == bare_name(fault.column)
        and answer.was == fault.value
        and answer.code in ("", fault.code)
    )


def as_frame(made: Iterable[Correction]) -> pd.DataFrame:
    """Return one row per correction or answer, in the columns of corrections.csv."""
    rows = [[getattr(line, name) for name in COLUMNS] for line in made]
    return pd.DataFrame(rows, columns=list(COLUMNS))
