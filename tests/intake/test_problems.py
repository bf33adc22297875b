"""Every fault is collected with its place, and no row drops out unseen."""

import pytest

from tests.intake.conftest import FILES

TEN = [
    ("plots", "102,1,netting,1,2,8,6", "102,1,netting,1,2,8,six", (3, "area", "text_in_number")),
    ("scouting", "2026-06-05,101", "2026-06-31,101", (2, "date", "impossible_date")),
    ("scouting", "05,202", "05,220", (5, "plot", "unknown_plot")),
    ("scouting", "adult,9", "adult,-9", (6, "count", "negative")),
    ("scouting", "spider", "ladybird", (8, "organism", "unknown_organism")),
    ("ratings", "holes,0.5", "holes,50", (3, "score", "out_of_scale")),
    ("harvest", "14,4.4", ",4.4", (4, "fruit", "weight_without_fruit")),
    ("harvest", "sunscald", "", (3, "cull_cause", "cull_without_cause")),
    ("events", "transplanted", "planted", (2, "event", "unknown_event")),
    ("weather", "13,26", "31,26", (4, "tmin", "tmin_above_tmax")),
]


def break_all(mini):
    texts = dict(FILES)
    for table, old, new, _ in TEN:
        assert old in texts[table]
        texts[table] = texts[table].replace(old, new, 1)
    for table, text in texts.items():
        mini.write(table, text)


def test_ten_broken_cells_are_ten_faults_with_places(mini):
    break_all(mini)
    errors = {(f.file.rsplit("/", 1)[-1], f.row, f.column, f.code) for f in mini.read().errors}
    assert errors == {(f"{table}.csv", *place) for table, _, _, place in TEN}


def test_broken_cells_in_one_row_are_all_told(mini):
    mini.change("scouting", "2026-06-05,101,1,flea_beetle,adult,4", "2026-02-30,901,1,fly,x1,-4")
    read = mini.read()
    assert [(f.row, f.column) for f in read.errors] == [
        (2, "date"),
        (2, "count"),
        (2, "plot"),
        (2, "organism"),
    ]
    assert read.left_out["row"].tolist() == [2]


def test_fault_reads_as_place_what_and_remedy(mini):
    mini.change("scouting", "05,101", "05,1O1")
    (fault,) = mini.read().errors
    assert str(fault) == (
        f"{mini.site.as_posix()}/scouting.csv:2:plot: there is no plot '1O1' in the layout. "
        "Did you mean '101'?"
    )
    assert fault.value == "1O1"


@pytest.mark.parametrize("typed", ["-9999", "n/a", "#REF!", "-4", "4.5", "x", "1e999"])
def test_fault_shows_the_cell_as_typed(mini, typed):
    mini.change("scouting", "adult,4", f"adult,{typed}")
    (fault,) = mini.read().errors
    assert fault.value == typed
    assert f"'{typed}'" in fault.what
    assert typed in mini.read().left_out["reason"].iloc[0]


def test_column_is_named_as_typed(mini):
    mini.write("scouting", FILES["scouting"].replace("count", "COUNT").replace(",4,", ",-4,"))
    (fault,) = mini.read().errors
    assert fault.column == "COUNT"


def test_rows_read_and_rows_left_out_add_up_to_the_rows_of_the_files(mini):
    break_all(mini)
    read = mini.read()
    kept = sum(len(frame) for frame in read.tables.values())
    assert kept + len(read.left_out) == sum(record.rows for record in read.files)


def test_left_out_rows_say_what_they_held(mini):
    mini.change("harvest", "14,4.4", "14,4.4 kg")
    (row,) = mini.read().left_out.to_dict("records")
    assert row == {
        "table": "harvest",
        "file": "data/2026/north/harvest.csv",
        "row": 4,
        "plot": "102",
        "date": "2026-08-01",
        "code": "text_in_number",
        "reason": "'4.4 kg' is a number with text.",
    }


def test_table_that_cannot_be_used_is_left_out_as_a_whole(mini):
    mini.change("harvest", "weight", "mass")
    read = mini.read()
    assert read.usable
    assert len(read.tables["harvest"]) == 0
    assert read.left_out[["table", "row", "code"]].to_numpy().tolist() == [
        ["harvest", 0, "table_unusable"]
    ]
