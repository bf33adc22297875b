"""Workbooks: what a spreadsheet can hide is named, and the rest reads like CSV."""

import datetime as dt
import io
import zipfile

import pandas as pd
import pytest

from trialkit.intake.workbook import grids_of_workbook


def told(mini):
    return [
        (f.code, f.file.rsplit("/", 1)[-1], f.row, f.column, f.severity) for f in mini.read().faults
    ]


def test_dates_and_whole_numbers_come_from_typed_cells(mini):
    def change(book):
        for row in book["scouting"].iter_rows(min_row=2):
            row[0].value = dt.datetime.fromisoformat(row[0].value)
            row[5].value = int(row[5].value)

    before = mini.read().tables["scouting"]
    mini.workbook(change)
    read = mini.read()
    assert [str(fault) for fault in read.faults] == []
    assert read.tables["scouting"].equals(before)


def test_merged_cells_block_the_rows_that_they_cover(mini):
    mini.workbook(lambda book: book["scouting"].merge_cells("A2:A4"))
    assert told(mini) == [
        ("merged_cells", "field.xlsx#scouting", row, "date", "error") for row in (2, 3, 4)
    ]
    assert mini.read().left_out["row"].tolist() == [2, 3, 4]


def test_merged_title_above_the_header_is_no_fault_of_the_data(mini):
    def change(book):
        book["weather"].insert_rows(1)
        book["weather"]["A1"] = "Weather 2026"
        book["weather"].merge_cells("A1:D1")

    mini.workbook(change)
    assert told(mini) == [("rows_above_header", "field.xlsx#weather", 1, "", "note")]


def test_formula_without_a_stored_result_is_an_error(mini):
    mini.workbook(lambda book: book["harvest"].__setitem__("F2", "=SUM(F3:F4)"))
    assert told(mini) == [("formula", "field.xlsx#harvest", 2, "weight", "error")]


@pytest.mark.parametrize("error", ["#DIV/0!", "#REF!", "#N/A"])
def test_spreadsheet_errors_are_named(mini, error):
    mini.workbook(lambda book: book["harvest"].__setitem__("F2", error))
    assert told(mini) == [("formula_error", "field.xlsx#harvest", 2, "weight", "error")]


def test_number_that_became_a_date_is_named(mini):
    mini.workbook(lambda book: book["scouting"].__setitem__("F2", dt.datetime(2026, 5, 4)))
    assert told(mini) == [("text_in_number", "field.xlsx#scouting", 2, "count", "error")]


def test_hidden_rows_columns_and_sheets_are_read_and_asked_about(mini):
    def change(book):
        book["scouting"].row_dimensions[3].hidden = True
        book["ratings"].column_dimensions["E"].hidden = True
        book["weather"].sheet_state = "hidden"

    mini.workbook(change)
    assert [one[0::4] for one in told(mini)] == [("hidden", "question")] * 3
    assert len(mini.read().tables["scouting"]) == 8


def test_sheets_of_other_names_are_not_read_and_told(mini):
    def change(book):
        book["harvest"].title = "harvests"
        book.create_sheet("remarks")

    mini.workbook(change)
    found = {(code, file): severity for code, file, _, _, severity in told(mini)}
    assert found[("unknown_sheet", "field.xlsx#harvests")] == "question"
    assert found[("unknown_sheet", "field.xlsx#remarks")] == "note"
    assert len(mini.read().tables["harvest"]) == 0


@pytest.mark.parametrize(
    "data",
    [b"no workbook", b"", b"PK\x03\x04broken", b"\xd0\xcf\x11\xe0old"],
    ids=["text", "empty", "damaged_zip", "old_format"],
)
def test_unreadable_workbook_is_one_error(mini, data):
    mini.workbook()
    (mini.site / "field.xlsx").write_bytes(data)
    assert [one[0] for one in told(mini)] == ["unreadable"]
    assert not mini.read().usable


def test_zip_that_is_no_workbook_is_one_error(mini):
    mini.workbook()
    with zipfile.ZipFile(mini.site / "field.xlsx", "w") as package:
        package.writestr("hello.txt", "hello")
    assert [one[0] for one in told(mini)] == ["unreadable"]


def test_workbook_that_unpacks_to_an_absurd_size_is_not_opened():
    packed = io.BytesIO()
    with (
        zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as package,
        package.open("xl/worksheets/sheet1.xml", "w") as part,
    ):
        for _ in range(500):
            part.write(b" " * 1_000_000)
    assert grids_of_workbook(packed.getvalue()).code == "too_large"


def test_workbook_beside_csv_files_is_an_error(mini):
    text = (mini.site / "scouting.csv").read_text()
    mini.workbook()
    mini.write("scouting", text)
    assert [one[0] for one in told(mini)] == ["two_sources"]
    assert not mini.read().usable


def test_two_workbooks_are_an_error(mini):
    mini.workbook()
    data = (mini.site / "field.xlsx").read_bytes()
    (mini.site / "copy.xlsx").write_bytes(data)
    assert [one[0] for one in told(mini)] == ["two_sources"]


def test_open_document_workbook_reads_like_the_csv_files(mini):
    before = mini.read().tables
    with pd.ExcelWriter(mini.site / "field.ods", engine="odf") as book:
        for path in sorted(mini.site.glob("*.csv")):
            pd.read_csv(path).to_excel(book, sheet_name=path.stem, index=False)
            path.unlink()
    read = mini.read()
    assert not read.errors
    for table, frame in before.items():
        pd.testing.assert_frame_equal(read.tables[table], frame)
