"""Sheets from many hands become tidy tables, and every fault still names the cell it came from."""

import openpyxl
import pandas as pd
import pytest

from tests.intake.conftest import FILES
from trialkit.errors import StudyError

WIDE = """
[intake.scouting]
files = ["beetles.csv"]
header_row = 2
rename = { "Plot no." = "plot" }
constant = { organism = "flea_beetle", stage = "adult" }
spread = { headers = "date", cells = "count" }
date_order = "day_first"
missing_codes = ["-"]
"""
SHEET = """Flea beetles 2026,,,
Plot no.,5/6/2026,15/6/2026,Total
101,4,9,13
102,0,-,0
201,1,3,4
202,6,12,18
"""


def mapped(mini, mapping, table="scouting", name="beetles.csv", text=SHEET):
    path = mini.folder / "study.toml"
    path.write_text(path.read_text() + mapping)
    (mini.site / f"{table}.csv").unlink()
    (mini.site / name).write_text(text)
    return mini.read()


def counts(read):
    frame = read.tables["scouting"]
    return [
        (str(date.date()), plot, count)
        for date, plot, count in zip(frame["date"], frame["plot"], frame["count"], strict=True)
    ]


def test_dates_across_become_rows_and_codes_no_rows(mini):
    read = mapped(mini, WIDE)
    assert not read.errors
    assert counts(read) == [
        ("2026-06-05", "101", 4),
        ("2026-06-15", "101", 9),
        ("2026-06-05", "102", 0),
        ("2026-06-05", "201", 1),
        ("2026-06-15", "201", 3),
        ("2026-06-05", "202", 6),
        ("2026-06-15", "202", 12),
    ]
    assert set(read.tables["scouting"]["organism"]) == {"flea_beetle"}


def test_a_fault_names_the_cell_of_the_sheet_as_typed(mini):
    read = mapped(mini, WIDE, text=SHEET.replace("201,1,3", "201,1,-3"))
    assert [(f.code, f.row, f.column, f.value) for f in read.errors] == [
        ("negative", 5, "15/6/2026", "-3")
    ]
    out = read.left_out
    assert out[["row", "plot", "date", "code"]].to_numpy().tolist() == [
        [4, "102", "2026-06-15", "value_missing"],
        [5, "201", "2026-06-15", "negative"],
    ]
    assert len(read.tables["scouting"]) == 6


def test_a_correction_reaches_a_cell_of_a_column_that_became_rows(mini):
    (mini.folder / "corrections.csv").write_text(
        "file,row,column,was,now,who,when,why\n"
        "data/2026/north/beetles.csv,5,15/6/2026,3,30,EF,2026-07-01,misread\n"
    )
    read = mapped(mini, WIDE)
    assert not read.errors
    assert ("2026-06-15", "201", 30) in counts(read)


def shown(preview):
    return [
        {name: (origin.value, origin.cell) for name, origin in row.items()} for row in preview.rows
    ]


def test_first_rows_are_shown_beside_their_cells(mini):
    (preview,) = mapped(mini, WIDE).previews
    assert (preview.file, preview.table) == ("data/2026/north/beetles.csv", "scouting")
    assert shown(preview)[1] == {
        "date": ("2026-06-15", "C2"),
        "plot": ("101", "A3"),
        "organism": ("flea_beetle", ""),
        "stage": ("adult", ""),
        "count": ("9", "C3"),
    }


def test_cells_filled_from_above_are_shown_where_they_stand(mini):
    mapping = """
[intake.scouting]
files = ["beetles.csv"]
heading = "note"
fill_down = ["date"]
constant = { organism = "flea_beetle", stage = "adult" }
"""
    text = "Date,Plot,Count\n,note east,\n2026-06-05,101,4\n,102,0\nNote: west,,\n,201,2\n"
    (preview,) = mapped(mini, mapping, text=text).previews
    found = [(row["date"], row["plot"], row["note"]) for row in shown(preview)]
    assert found == [
        (("2026-06-05", "A3"), ("101", "B3"), ("east", "B2")),
        (("2026-06-05", "A3"), ("102", "B4"), ("east", "B2")),
        (("2026-06-05", "A3"), ("201", "B6"), ("west", "A5")),
    ]


def test_several_plants_a_plot_under_headings_of_blocks(mini):
    mapping = """
[intake.scouting]
files = ["beetles.csv"]
heading = "note"
fill_down = ["date"]
constant = { organism = "flea_beetle", stage = "adult" }
spread = { headers = "plant", cells = "count" }
"""
    text = "Date,Plot,1,2\nnote east,,,\n2026-06-05,101,4,5\n,102,0,1\nNote: west,,,\n,201,2,\n"
    read = mapped(mini, mapping, text=text)
    assert not read.errors
    frame = read.tables["scouting"]
    assert frame[["plot", "plant", "count", "note"]].to_numpy().tolist() == [
        ["101", "1", 4, "east"],
        ["101", "2", 5, "east"],
        ["102", "1", 0, "east"],
        ["102", "2", 1, "east"],
        ["201", "1", 2, "west"],
    ]
    assert set(frame["date"]) == {pd.Timestamp("2026-06-05")}


def test_units_and_decimal_commas_of_a_column_are_read_as_declared(mini):
    mapping = """
[intake.harvest]
files = ["*.csv"]
sheets = []
rename = { "Gewicht" = "weight" }
units = { weight = "oz" }
decimal_comma = true
""".replace('files = ["*.csv"]\nsheets = []', 'files = ["picked.csv"]')
    text = 'date;plot;grade;fruit;Gewicht\n2026-08-01;101;marketable;10;"1.016,5"\n'
    read = mapped(mini, mapping, "harvest", "picked.csv", text)
    assert not [f for f in read.errors if "picked" in f.file]
    # 1 oz = 28.349523125 g exactly (international avoirdupois, NIST Handbook 44, appendix C)
    assert read.tables["harvest"]["weight"].tolist() == pytest.approx([1016.5 * 0.028349523125])


def test_a_sheet_of_any_name_in_a_workbook_is_found(mini):
    path = mini.folder / "study.toml"
    path.write_text(
        path.read_text() + WIDE.replace('["beetles.csv"]', '["*.xlsx"]\nsheets=["fb*"]')
    )
    book = openpyxl.Workbook()
    book.active.title = "FB counts"
    for line in SHEET.splitlines():
        book.active.append([int(c) if c.isdigit() else c or None for c in line.split(",")])
    (mini.site / "scouting.csv").unlink()
    book.save(mini.site / "any.xlsx")
    read = mini.read()
    assert not read.errors
    assert len(counts(read)) == 7
    assert len(read.tables["plots"]) == len(FILES["plots"].splitlines()) - 1


def test_a_table_in_two_files_is_an_error(mini):
    (mini.site / "beetles_again.csv").write_text(SHEET)
    read = mapped(mini, WIDE.replace("beetles.csv", "beetles*.csv"))
    assert [fault.code for fault in read.errors] == ["two_sources"]
    assert read.unusable


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("header_row = 2", "header_row = 40", "no_header"),
        ("header_row = 2", "header_row = 3", "mapping"),
        ('"Plot no."', '"Plot number"', "unknown_column"),
    ],
)
def test_a_mapping_that_does_not_fit_is_named(mini, old, new, code):
    read = mapped(mini, WIDE.replace(old, new))
    assert code in [fault.code for fault in read.errors]
    assert len(read.tables["scouting"]) == 0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[intake.scouting]", "[intake.counts]", "is no table"),
        ("header_row", "units = { count = 'lb' }\nheader_row", "has no unit"),
        ('files = ["beetles.csv"]', "", "which files or which sheets"),
    ],
)
def test_a_mapping_that_makes_no_sense_is_refused(mini, old, new, words):
    path = mini.folder / "study.toml"
    path.write_text(path.read_text() + WIDE.replace(old, new))
    with pytest.raises(StudyError, match=words):
        mini.study()
