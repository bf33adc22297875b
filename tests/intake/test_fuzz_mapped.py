"""Mapped sheets, corrections and workbooks, mutated: the same numbers, or a problem told."""

import io
import shutil
import tempfile
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.intake.conftest import FILES, Mini
from tests.intake.draft.workbooks import BOOKS
from tests.intake.packages import book, ods_book
from tests.intake.test_fuzz import CELL, MEASURED, ODD, readable
from tests.intake.test_mapping import SHEET, WIDE
from trialkit.errors import TrialkitError
from trialkit.intake import blank_tables, check_study, draft_study
from trialkit.study import read_study
from trialkit.study.fresh import start_drafted_study

ACROSS = SHEET.splitlines()
WHERE = st.tuples(st.integers(0, 8), st.integers(0, 5), CELL)
VALUES = st.one_of(
    ODD, st.integers(-5, 10**12), st.floats(), st.booleans(), st.datetimes(), st.none()
)

IN_BOOK = st.tuples(st.sampled_from(sorted(FILES)), st.integers(1, 9), st.integers(1, 8), VALUES)


@contextmanager
def small_study(template):
    with tempfile.TemporaryDirectory() as parent:
        yield Mini(Path(shutil.copytree(template, Path(parent) / "mini")))


def put(cell, value) -> None:
    """Type a value; one that a workbook cannot hold leaves the cell empty."""
    try:
        cell.value = value
    except openpyxl.utils.exceptions.IllegalCharacterError:
        cell.value = None  # openpyxl leaves it half set, and could not save it


def numbers_of(cells) -> set[float]:
    return {one for cell in cells for one in readable(str(cell))}


def mapped(mini: Mini, data: bytes):
    path = mini.folder / "study.toml"
    path.write_text(path.read_text() + WIDE)
    (mini.site / "scouting.csv").unlink()
    (mini.site / "beetles.csv").write_bytes(data)
    return mini.read()


@settings(max_examples=40, deadline=None)
@given(st.lists(WHERE, min_size=1, max_size=5))
def test_changed_cells_of_a_mapped_sheet(template, changes):
    rows = [line.split(",") for line in ACROSS]
    for row, column, cell in changes:
        line = rows[row % len(rows)]
        line[column % len(line)] = cell
    text = "\n".join(",".join(row) for row in rows)
    with small_study(template) as mini:
        read = mapped(mini, text.encode("utf-8", "surrogatepass"))
        typed = numbers_of(cell for line in text.splitlines() for cell in line.split(","))
        assert set(read.tables["scouting"]["count"]) <= typed
        assert all(fault.what and fault.code for fault in read.faults)


@settings(max_examples=40, deadline=None)
@given(st.binary(max_size=60), st.integers(0, 120))
def test_changed_bytes_of_a_mapped_sheet(template, junk, at):
    data = SHEET.encode()
    with small_study(template) as mini:
        read = mapped(mini, data[:at] + junk + data[at + len(junk) :])
        assert all(fault.what and fault.remedy for fault in read.faults)


LINE = ["data/2026/north/scouting.csv", "2", "", "count", "4", "14", "", "EF", "2026-07-01", "why"]
HEADER = "file,row,key,column,was,now,code,who,when,why"


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), CELL), min_size=1, max_size=3), st.booleans())
def test_changed_corrections_are_made_on_record_or_not_at_all(template, changes, out):
    line = [*LINE]
    line[5] = "leave out row" if out else line[5]
    for column, cell in changes:
        line[column] = cell
    text = f"{HEADER}\n{','.join(line)}\n"
    with small_study(template) as mini:
        before = mini.read().tables
        path = mini.folder / "corrections.csv"
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        intake = check_study(mini.study())
        read = intake.site_season(2026, "north")
        changed = [t for t, frame in before.items() if not frame.equals(read.tables[t])]
        assert len(changed) <= len(read.corrections)
        assert len(read.corrections) or intake.faults or not changed


@pytest.mark.filterwarnings("ignore:Cell .* is marked as a date:UserWarning")
@settings(max_examples=40, deadline=None)
@example([("events", 1, 1, datetime(2000, 1, 1)), ("events", 1, 1, 2958466)], 0)
@given(st.lists(IN_BOOK, min_size=1, max_size=4), st.integers(0, 9))
def test_changed_cells_of_a_workbook(template, changes, hidden):
    def change(made: openpyxl.Workbook) -> None:
        for table, row, column, value in changes:
            put(made[table].cell(row, column), value)
        made["scouting"].row_dimensions[hidden + 1].hidden = bool(hidden)

    data = book(change)
    typed = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
    with small_study(template) as mini:
        for path in mini.site.glob("*.csv"):
            path.unlink()
        (mini.site / "field.xlsx").write_bytes(data)
        read = mini.read()
        for table, column in MEASURED.items():
            cells = (cell.value for row in typed[table].iter_rows() for cell in row)
            assert set(read.tables[table][column].dropna()) <= numbers_of(cells)


@pytest.mark.parametrize(("name", "data"), [("field.xlsx", book()), ("field.ods", ods_book())])
def test_changed_bytes_of_workbooks(template, name, data):
    @settings(max_examples=16, deadline=None)
    @given(st.binary(min_size=1, max_size=40), st.integers(0, len(data) - 1))
    def changed(junk, at):
        with small_study(template) as mini:
            before = mini.read().tables
            for path in mini.site.glob("*.csv"):
                path.unlink()
            (mini.site / name).write_bytes(data[:at] + junk + data[at + len(junk) :])
            read = mini.read()
            same = all(frame.equals(read.tables[table]) for table, frame in before.items())
            assert same or [fault for fault in read.faults if fault.severity != "note"]

    changed()


@settings(max_examples=40, deadline=None)
@example("dates_across", [(0, 3, 0, "\x07")])
@given(
    st.sampled_from(sorted(BOOKS)),
    st.lists(st.tuples(*3 * [st.integers(0, 9)], VALUES), max_size=4),
)
def test_any_workbook_is_drafted_or_told(name, changes):
    sheets = {title: [[*row] for row in rows] for title, rows in BOOKS[name].sheets.items()}
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, rows in (sheets or {"plots": [["plot"]]}).items():
        page = made.create_sheet(title)
        for row in rows:
            page.append(row)
    for number, row, column, value in changes:
        page = made.worksheets[number % len(made.worksheets)]
        put(page.cell(row + 1, column + 1), value)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "book.xlsx"
        made.save(path)
        try:
            draft = draft_study(path, "drafted", 2030)
        except TrialkitError:
            return
        study = Path(folder) / "study"
        start_drafted_study(study, draft.text, draft.files, blank_tables()["costs"])
        check_study(read_study(study))
