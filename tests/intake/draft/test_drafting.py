"""A study drafted from a workbook reads it into exactly the rows that it means."""

import pandas as pd
import pytest

from tests.intake.draft.workbooks import BOOKS
from trialkit.errors import TrialkitError
from trialkit.intake import blank_tables, check_study, draft_study, read_site_season
from trialkit.study import read_study
from trialkit.study.fresh import start_drafted_study


def drafted(path, folder, **given):
    draft = draft_study(path, "drafted", 2030, **given)
    start_drafted_study(folder, draft.text, draft.files, blank_tables()["costs"])
    return draft, read_study(folder)


@pytest.mark.parametrize("book", BOOKS.values(), ids=BOOKS)
def test_a_drafted_study_gives_exactly_the_rows_of_the_workbook(book, tmp_path):
    draft, study = drafted(book.write(tmp_path), tmp_path / "study")
    read = read_site_season(study, 2026, draft.site)
    assert [str(fault) for fault in check_study(study).errors] == []
    for table, (columns, rows) in book.tables.items():
        found = read.tables[table][columns].reset_index(drop=True)
        pd.testing.assert_frame_equal(
            found, pd.DataFrame(rows, columns=columns).astype(found.dtypes.to_dict()), rtol=1e-12
        )
    assert {t for t, frame in read.tables.items() if len(frame)} == set(book.tables)


@pytest.mark.parametrize("book", BOOKS.values(), ids=BOOKS)
def test_the_untreated_check_and_the_season_are_guessed_and_marked(book, tmp_path):
    draft, study = drafted(book.write(tmp_path), tmp_path / "study")
    assert study.check.id == book.check
    assert [season.year for season in study.seasons] == [2026]
    lines = draft.text.splitlines()
    for number, line in enumerate(lines):
        if line.startswith(("header_row", "date_order", "decimal_comma", "fill_down", "heading")):
            assert lines[number - 1].startswith("# guess: ")


def test_dates_that_can_be_read_in_two_ways_are_left_to_the_person(tmp_path):
    path = tmp_path / "counts.csv"
    path.write_text("Date,Plot,Block,Trt,Insect,Count\n5/6/2026,1,1,none,mite,3\n")
    draft, study = drafted(path, tmp_path / "study")
    assert "date_order" not in draft.text
    codes = {fault.code for fault in check_study(study).errors}
    assert codes == {"ambiguous_date"}


def test_season_and_site_given_go_before_what_the_file_tells(tmp_path):
    draft, study = drafted(
        BOOKS["dates_across"].write(tmp_path), tmp_path / "study", season=2027, site="Upper field"
    )
    assert (draft.season, draft.site) == (2027, "upper_field")
    assert study.site_seasons() == ((2027, "upper_field"),)


def test_every_file_is_told_and_the_workbook_is_copied_as_it_is(tmp_path):
    path = BOOKS["ounces_inches_and_fahrenheit"].write(tmp_path)
    draft, _ = drafted(path, tmp_path / "study")
    copied = tmp_path / "study" / "data" / "2026" / draft.site / path.name
    assert copied.read_bytes() == path.read_bytes()
    assert "sheet 'Scratch' was passed over: it reads like no table" in draft.told
    assert "sheet 'Pickings' is read as harvest (5 rows)" in draft.told
    assert "plots.csv was drafted from harvest: 4 plots" in draft.told


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("old.xls", b"\xd0\xcf\x11\xe0", "of this kind is not read"),
        ("torn.xlsx", b"PK\x03\x04", "not a workbook, or it is damaged"),
        ("torn.ods", b"", "not a workbook"),
        ("empty.csv", b"", "no sheet reads like a table"),
        ("letter.csv", b"Dear all\nplease find enclosed\n", "no sheet reads like a table"),
        ("bytes.csv", b"\x00\x01\x02\x03" * 9, "not text"),
    ],
)
def test_a_file_that_cannot_be_drafted_from_is_told(tmp_path, name, data, words):
    (tmp_path / name).write_bytes(data)
    with pytest.raises(TrialkitError, match=words):
        draft_study(tmp_path / name, "drafted", 2030)
    with pytest.raises(TrialkitError, match="no such file"):
        draft_study(tmp_path / "nowhere.xlsx", "drafted", 2030)
