"""Safe corrections are offered, written on record, and mend what they were offered for."""

import datetime as dt

import pytest

from trialkit.intake import check_study, offered_corrections, write_corrections

WHEN = dt.date(2026, 7, 1)


def offers(mini):
    found = offered_corrections(mini.study(), check_study(mini.study()))
    return [(c.file.rsplit("/", 1)[-1], c.row, c.column, c.was, c.now) for c in found]


@pytest.mark.parametrize(
    ("table", "old", "new", "offer"),
    [
        ("harvest", ",10,3.2", ',10,"3,2"', ("harvest.csv", 2, "weight", "3,2", "3.2")),
        ("scouting", "adult,0", "adult,O", ("scouting.csv", 3, "count", "O", "0")),
        ("weather", "24.5", "n/a", ("weather.csv", 3, "tmax", "n/a", "")),
        ("events", "2026-05-20", "2026-20-05", None),
        ("scouting", "2026-06-05,101", "06/11/2026,101", ("scouting.csv", 2, "date", "06/11/2026",
                                                        "2026-06-11")),
        ("plots", "1,netting", "1,Netting", ("plots.csv", 3, "treatment", "Netting", "netting")),
        ("harvest", ",10,3.2", ',"1,000",3.2', None),
        ("harvest", ",10,3.2", ",10,3.2 lb", None),
        ("scouting", "adult,4", "adult,-4", None),
    ],
)  # fmt: skip
def test_only_what_can_be_meant_in_one_way_is_offered(mini, table, old, new, offer):
    mini.change(table, old, new)
    assert offers(mini) == ([] if offer is None else [offer])


def test_offers_written_are_signed_and_mend_the_data(mini):
    mini.change("harvest", ",10,3.2", ',10,"3,2"')
    found = offered_corrections(mini.study(), check_study(mini.study()))
    write_corrections(mini.study(), found, who="EF", when=WHEN)
    intake = check_study(mini.study())
    one = intake.site_season(2026, "north")
    assert not one.errors
    assert one.corrections[["who", "when"]].to_numpy().tolist() == [["EF", "2026-07-01"]]
    assert offered_corrections(mini.study(), intake) == ()


def test_writing_again_keeps_every_line_that_was_there(mini):
    mini.change("harvest", ",10,3.2", ',10,"3,2"')
    found = offered_corrections(mini.study(), check_study(mini.study()))
    assert len(write_corrections(mini.study(), found, who="EF", when=WHEN)) == 1
    path = mini.folder / "corrections.csv"
    once = path.read_bytes()
    assert write_corrections(mini.study(), found, who="GH", when=WHEN) == ()
    assert path.read_bytes() == once


def test_lines_are_added_in_the_columns_and_delimiter_of_the_file(mini):
    mini.change("harvest", ",10,3.2", ',10,"3,2"')
    path = mini.folder / "corrections.csv"
    path.write_bytes(b"Why;Who;When;File;Row;Column;Was;Now\r\n")
    found = offered_corrections(mini.study(), check_study(mini.study()))
    write_corrections(mini.study(), found, who="EF", when=WHEN)
    assert path.read_bytes().splitlines()[1] == (
        b"'3,2' has a decimal comma;EF;2026-07-01;data/2026/north/harvest.csv;2;weight;3,2;3.2"
    )
    assert not mini.read().errors


def test_rows_typed_twice_are_offered_where_they_cannot_be_meant(mini):
    again = "2026-06-05,102,1,flea_beetle,adult,0,AB,\n"
    mini.change("scouting", again, again * 2)
    picked = "2026-08-01,201,marketable,,12,4.0\n"
    mini.change("harvest", picked, picked * 2)
    found = offered_corrections(mini.study(), check_study(mini.study()))
    assert [(c.row, c.column, c.now) for c in found] == [(4, "", "leave out row")]
