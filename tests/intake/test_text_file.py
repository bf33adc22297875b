"""CSV files in the encodings and with the delimiters that people's programs write."""

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.intake.conftest import FILES, HARVEST, SCOUTING
from trialkit.intake.text_file import delimiter_of, grid_of_text

NOTE = SCOUTING.replace("windy", "très sec, dû au vent").replace(
    "très sec, dû au vent", '"très sec, dû au vent"'
)


def codes(mini):
    return [(f.code, f.severity) for f in mini.read().faults]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig"])
def test_utf_8_is_read_without_a_word(mini, encoding):
    mini.write("scouting", NOTE.encode(encoding))
    assert codes(mini) == []
    assert mini.read().tables["scouting"].loc[6, "note"] == "très sec, dû au vent"


@pytest.mark.parametrize("encoding", ["cp1252", "utf-16", "utf-16-le", "utf-16-be"])
def test_other_encodings_are_read_and_told(mini, encoding):
    mini.write("scouting", NOTE.encode(encoding))
    assert codes(mini) == [("encoding", "note")]
    assert mini.read().tables["scouting"].loc[6, "note"] == "très sec, dû au vent"


@pytest.mark.parametrize(
    "data",
    [b"\x00\x01\x02\x03 date", b"PK\x03\x04 a workbook", b"\xd0\xcf\x11\xe0 old", b"date,\x81\x8d"],
    ids=["zeros", "workbook", "old_workbook", "no_encoding"],
)
def test_bytes_that_are_no_text_are_an_error(mini, data):
    mini.write("scouting", data)
    assert codes(mini) == [("encoding", "error")]
    assert len(mini.read().tables["scouting"]) == 0


@pytest.mark.parametrize("delimiter", [";", "\t", "|"])
def test_other_delimiters_are_read_and_told(mini, delimiter):
    before = mini.read().tables["harvest"]
    mini.write("harvest", HARVEST.replace(",", delimiter))
    assert codes(mini) == [("delimiter", "note")]
    pd.testing.assert_frame_equal(mini.read().tables["harvest"], before)


def test_decimal_commas_in_a_semicolon_file_are_named_one_by_one(mini):
    mini.write("harvest", HARVEST.replace(",", ";").replace(".", ","))
    read = mini.read()
    places = [(f.row, f.column) for f in read.faults if f.code == "decimal_comma"]
    assert places == [(2, "weight"), (3, "weight"), (4, "weight"), (5, "weight")]


@pytest.mark.parametrize("newline", ["\r\n", "\r"])
def test_line_ends_of_other_systems_change_nothing(mini, newline):
    before = mini.read().tables
    for table, text in FILES.items():
        mini.write(table, text.replace("\n", newline))
    read = mini.read()
    assert [str(fault) for fault in read.faults] == []
    for table, frame in before.items():
        pd.testing.assert_frame_equal(read.tables[table], frame)


def test_rows_are_counted_as_a_spreadsheet_shows_them(mini):
    """A note with a line break inside is one row, so the fault below keeps its number."""
    text = SCOUTING.replace("windy", '"windy,\nthen calm"').replace(
        "102,1,flea_beetle,larva", "999,1,flea_beetle,larva"
    )
    mini.write("scouting", text)
    assert [(f.code, f.row) for f in mini.read().faults if f.column == "plot"] == [
        ("unknown_plot", 7)
    ]


def test_labels_keep_their_leading_zeros_without_a_header_row():
    grid = grid_of_text(b"007,1.50\n008,2.50\n", ["plot"])
    assert list(grid.cells[0].astype("str")) == ["007", "008"]
    assert list(grid.cells[1].astype("str")) == ["1.50", "2.50"]


def test_a_comma_wins_where_nothing_speaks_for_another_delimiter():
    assert delimiter_of("plot", ["plot"]) == ","


def test_empty_file_is_no_error(mini):
    mini.write("weather", b"")
    faults = mini.read().faults
    assert {(f.code, f.severity) for f in faults} == {
        ("empty_file", "note"),
        ("nothing_typed", "note"),
    }


CELL = st.text(
    st.characters(exclude_characters='",;|', exclude_categories=("Cc", "Cs")), max_size=6
)


@settings(max_examples=150, deadline=None)
@given(st.lists(st.tuples(CELL, CELL, CELL), min_size=1, max_size=9))
def test_a_cell_in_quotation_marks_changes_nothing_in_the_others(rows):
    plain = "date,plot,note\n" + "".join(f"{','.join(row)}\n" for row in rows)
    quoted = plain.replace("date", '"date"', 1)
    one, other = (grid_of_text(text.encode(), ("date", "plot")) for text in (plain, quoted))
    pd.testing.assert_frame_equal(one.cells, other.cells)
    assert one.problems == other.problems


def test_lines_that_quotation_marks_join_to_a_wider_row_are_an_error_and_no_lost_cells():
    grid = grid_of_text(b'date,plot,"note\n"101,b,c\n102,d,e\n', ("date", "plot"))
    (problem,) = grid.problems
    assert problem.breaks
    assert "more cells than any line" in problem.what
    assert "quotation mark" in problem.remedy
