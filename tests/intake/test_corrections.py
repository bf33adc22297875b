"""Corrections on record: made at intake, told when they do not fit, never silent."""

import pytest

from trialkit.intake import read_site_season

HEADER = "file,row,key,column,was,now,code,who,when,why\n"
SCOUTING = "data/2026/north/scouting.csv"


def correct(mini, *lines):
    text = HEADER + "".join(f"{line}\n" for line in lines)
    (mini.folder / "corrections.csv").write_text(text)
    return mini.read()


def told(read):
    return [(f.file.rsplit("/", 1)[-1], f.row, f.column, f.severity) for f in read.faults]


def test_a_correction_changes_the_value_and_leaves_the_file(mini):
    before = (mini.site / "scouting.csv").read_bytes()
    read = correct(mini, f"{SCOUTING},2,,count,4,14,,EF,2026-07-01,misread the sheet")
    assert read.tables["scouting"].loc[2, "count"] == 14
    assert read.faults == ()
    assert (mini.site / "scouting.csv").read_bytes() == before
    assert read.corrections[["row", "was", "now", "who"]].to_numpy().tolist() == [
        [2, "4", "14", "EF"]
    ]


def test_a_correction_by_key_finds_its_row(mini):
    line = f"{SCOUTING},,plot=202; date=2026-06-15,count,12,2,,EF,2026-07-01,second look"
    read = correct(mini, line)
    assert read.tables["scouting"].loc[9, "count"] == 2
    assert read.corrections["row"].tolist() == [9]


def test_a_correction_can_empty_a_cell_and_mend_an_error(mini):
    mini.change("weather", "24.5", "24x")
    assert mini.read().errors
    read = correct(mini, "data/2026/north/weather.csv,3,,tmax,24x,,,EF,2026-07-01,unreadable")
    assert not read.errors
    assert read.tables["weather"]["tmax"].isna().tolist() == [False, True, False]


@pytest.mark.parametrize(
    ("line", "column"),
    [
        (f"{SCOUTING},2,,count,5,14,,EF,2026-07-01,x", "was"),
        (f"{SCOUTING},99,,count,4,14,,EF,2026-07-01,x", "was"),
        (f"{SCOUTING},,plot=101,count,4,14,,EF,2026-07-01,x", "was"),
        (f"{SCOUTING},2,,weight,4,14,,EF,2026-07-01,x", "was"),
        (f"{SCOUTING},2,,count,4,14,,,2026-07-01,x", "who"),
        (f"{SCOUTING},2,,count,4,14,,EF,2026-07-01,", "why"),
        (f"{SCOUTING},two,,count,4,14,,EF,2026-07-01,x", "row"),
        (f"{SCOUTING},,,count,4,14,,EF,2026-07-01,x", "row"),
        ("data/2026/north/../scouting.csv,2,,count,4,14,,EF,2026-07-01,x", "file"),
    ],
)
def test_a_correction_that_does_not_fit_is_an_error_and_is_not_made(mini, line, column):
    read = correct(mini, line)
    assert told(read) == [("corrections.csv", 2, column, "error")]
    assert read.tables["scouting"].loc[2, "count"] == 4
    assert read.corrections.empty


def test_two_corrections_of_one_cell_are_an_error(mini):
    line = f"{SCOUTING},2,,count,4,14,,EF,2026-07-01,x"
    read = correct(mini, line, line)
    assert ("corrections.csv", 2, "row", "error") in told(read)


@pytest.mark.parametrize("text", ["", "who,why\n", "file,row\n\x00\x01", '"open\n'])
def test_a_file_that_is_no_list_of_corrections_is_an_error(mini, text):
    (mini.folder / "corrections.csv").write_text(text)
    read = mini.read()
    assert [(f.code, f.severity) for f in read.faults] == [("correction", "error")]


def test_an_answer_silences_its_question_on_record(mini):
    mini.change("plots", "101,1,check,1,1,8,6,", "101,1,check,1,1,8,6,yes")
    asked = [fault for fault in mini.read().faults if fault.severity == "question"]
    assert [(f.row, f.column, f.value, f.code) for f in asked] == [
        (2, "lost", "yes", "lost_reason")
    ]
    read = correct(
        mini, 'data/2026/north/plots.csv,2,,lost,yes,"seen, correct",,EF,2026-07-01,not known'
    )
    assert [f for f in read.faults if f.severity == "question"] == []
    assert read.corrections["now"].tolist() == ["seen, correct"]


def test_an_answer_never_silences_an_error(mini):
    mini.change("scouting", "adult,4", "adult,-4")
    read = correct(mini, f'{SCOUTING},2,,count,-4,"seen, correct",,EF,2026-07-01,x')
    assert [fault.code for fault in read.errors] == ["negative"]


def test_field_files_can_be_read_as_typed(mini):
    correct(mini, f"{SCOUTING},2,,count,4,14,,EF,2026-07-01,misread the sheet")
    read = read_site_season(mini.study(), 2026, "north", as_typed=True)
    assert read.tables["scouting"].loc[2, "count"] == 4


WHOLE = (
    "date=2026-06-05; plot=101; plant=1; organism=flea_beetle; stage=adult; count=4; observer=AB"
)


@pytest.mark.parametrize(
    "line",
    [
        f"{SCOUTING},2,,,{WHOLE},leave out row,,EF,2026-07-01,typed twice",
        f"{SCOUTING},2,,count,4,Leave out row,,EF,2026-07-01,typed twice",
        f"{SCOUTING},,plot=101; date=2026-06-05,count,4,leave out row,,EF,2026-07-01,typed twice",
    ],
)
def test_a_row_taken_out_leaves_a_trace(mini, line):
    read = correct(mini, line)
    assert 2 not in read.tables["scouting"].index
    assert [(f.code, f.row, f.severity) for f in read.faults] == [("taken_out", 2, "note")]
    assert "EF, 2026-07-01: typed twice" in read.faults[0].what
    out = read.left_out[["row", "plot", "code"]].to_numpy().tolist()
    assert out == [[2, "101", "taken_out"]]
    assert read.corrections["now"].str.casefold().tolist() == ["leave out row"]


@pytest.mark.parametrize("was", [WHOLE.replace("count=4", "count=5"), "", "count=4"])
def test_a_row_that_says_something_else_is_not_taken_out(mini, was):
    read = correct(mini, f"{SCOUTING},2,,,{was},leave out row,,EF,2026-07-01,typed twice")
    assert told(read) == [("corrections.csv", 2, "was", "error")]
    assert 2 in read.tables["scouting"].index


def test_semicolons_are_read_as_delimiters_too(mini):
    text = HEADER.replace(",", ";") + f"{SCOUTING};2;;count;4;14;;EF;2026-07-01;misread\n"
    (mini.folder / "corrections.csv").write_text(text)
    assert mini.read().tables["scouting"].loc[2, "count"] == 14


def test_a_row_number_of_thousands_of_digits_is_told(mini):
    read = correct(mini, f"{SCOUTING},{'9' * 5000},,count,4,14,,EF,2026-07-01,x")
    assert told(read) == [("corrections.csv", 2, "row", "error")]
