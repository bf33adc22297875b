"""The coded copy of any sheet is read just as the sheet is, its corrections too."""

import pandas as pd
import pytest

from tests.intake.conftest import FILES, Mini, mini, template  # noqa: F401
from trialkit.intake import read_site_season
from trialkit.intake.station_file import METRIC
from trialkit.publish.coded_tables import PERSONAL, observers
from trialkit.publish.editions import editions_of, write_copy
from trialkit.study import read_study

HEADER = "file,row,key,column,was,now,code,who,when,why\n"
SIGNED = "Zqcorrector,2026-06-20,the sheet says so"
PLACE = "data/2026/north"
WIDE = """
[intake.scouting]
files = ["beetles*.csv"]
header_row = 2
rename = { "Plot no." = "plot" }
constant = { organism = "flea_beetle", stage = "adult", observer = "Zqobserver" }
spread = { headers = "date", cells = "count" }
date_order = "day_first"
missing_codes = ["-"]
[intake.harvest]
files = ["picked.csv"]
units = { weight = "lb" }
decimal_comma = true
"""
BEETLES = """Flea beetles 2026,,,
Plot no.,5/6/2026,15/6/2026,Total
101,4,9,13
102,0,-,0
201,1,3,4
202,6,12,18
"""
STATION = """ZZ000000001,20260605,TMAX,245,,,S,
ZZ000000001,20260605,TMIN,-5,,,S,
ZZ000000001,20260606,TMIN,130,,,S,
"""


def correct(mini: Mini, *lines: str) -> None:  # noqa: F811
    text = HEADER + "".join(f"{line},{SIGNED}\n" for line in lines)
    (mini.folder / "corrections.csv").write_text(text)


def both_read(mini: Mini, copy):  # noqa: F811
    """What is read of the study, and of its coded copy."""
    study = mini.study()
    (edition,) = editions_of(study, "public")
    write_copy(study, edition, copy)
    return mini.read(), read_site_season(read_study(copy), 2026, "north")


def assert_same(read, copied) -> None:
    for table, frame in read.tables.items():
        kept = [name for name in frame.columns if name not in PERSONAL]
        there = copied.tables[table][kept].reset_index(drop=True)
        pd.testing.assert_frame_equal(frame[kept].reset_index(drop=True), there)
    assert len(read.corrections) == len(copied.corrections)
    assert [f.code for f in read.errors] == [f.code for f in copied.errors]


def test_plain_files_are_read_alike_whatever_stands_around_the_rows(mini, tmp_path) -> None:  # noqa: F811
    mini.write("scouting", "A made-up farm\n\n" + FILES["scouting"] + ",,,,,,,\nTotal,,,,,35,,\n")
    correct(mini, f"{PLACE}/scouting.csv,4,,count,4,5,")
    read, copied = both_read(mini, tmp_path / "copy")
    assert read.tables["scouting"]["count"].iloc[0] == 5
    assert_same(read, copied)


def test_a_workbook_and_its_corrections_are_read_alike(mini, tmp_path) -> None:  # noqa: F811
    mini.workbook()
    book = f"{PLACE}/field.xlsx#harvest"
    correct(mini, f"{book},2,,weight,3.2,3.3,", f"{book},,plot=201,fruit,12,13,")
    read, copied = both_read(mini, tmp_path / "copy")
    assert len(read.corrections) == 2
    assert_same(read, copied)


def test_a_row_taken_out_on_record_is_out_of_the_copy_too(mini, tmp_path) -> None:  # noqa: F811
    mini.change("scouting", "101,1,flea_beetle,adult,4", "101,1,flea_beetle,adult,44")
    was = "date=2026-06-05; plot=101; plant=1; organism=flea_beetle; stage=adult; count=44; "
    correct(mini, f"{PLACE}/scouting.csv,2,,,{was}observer=AB,leave out row,")
    read, copied = both_read(mini, tmp_path / "copy")
    assert len(read.tables["scouting"]) == 7
    assert_same(read, copied)


def test_dates_across_and_units_of_a_column_are_read_alike(mini, tmp_path) -> None:  # noqa: F811
    toml = mini.folder / "study.toml"
    toml.write_text(toml.read_text() + WIDE)
    for table in ("scouting", "harvest"):
        (mini.site / f"{table}.csv").unlink()
    (mini.site / "beetles.csv").write_text(BEETLES)
    text = "date;plot;grade;fruit;weight\n2026-08-01;101;marketable;10;1.234,5\n"
    (mini.site / "picked.csv").write_text(text + "2026-08-01;102;marketable;10;3,2\n")
    correct(mini, f"{PLACE}/beetles.csv,3,,15/6/2026,9,19,")
    read, copied = both_read(mini, tmp_path / "copy")
    assert read.tables["scouting"]["count"].tolist() == [4, 19, 0, 1, 3, 6, 12]
    assert read.tables["harvest"]["weight"].iloc[1] == pytest.approx(3.2 * 0.45359237)
    assert_same(read, copied)


@pytest.mark.parametrize("units", ["us", "si"])
def test_a_weather_stations_file_is_read_alike_and_names_no_station(mini, tmp_path, units) -> None:  # noqa: F811
    mini.declare('units = "si"', f'units = "{units}"')
    mini.write("weather", STATION)
    read, copied = both_read(mini, tmp_path / "copy")
    assert read.tables["weather"]["tmin"].tolist() == [-0.5, 13.0]
    assert METRIC["tmin"] == "degC"
    assert_same(read, copied)
    told = (tmp_path / "copy" / PLACE / "weather.csv").read_text()
    assert "ZZ0" not in told


def test_files_of_visits_are_read_alike_and_keep_no_name_but_the_day(mini, tmp_path) -> None:  # noqa: F811
    head, *rows = FILES["scouting"].splitlines(keepends=True)
    (mini.site / "scouting.csv").unlink()
    for name, part in (("2026-06-05_zqfriend", rows[:4]), ("2026-06-15", rows[4:])):
        (mini.site / f"scouting_{name}.csv").write_text(head + "".join(part))
    correct(mini, f"{PLACE}/scouting_2026-06-15.csv,2,,count,9,8,")
    read, copied = both_read(mini, tmp_path / "copy")
    assert read.tables["scouting"]["count"].tolist()[4] == 8
    assert_same(read, copied)
    names = {path.name for path in (tmp_path / "copy" / PLACE).iterdir()}
    assert {"scouting_2026-06-05.csv", "scouting_2026-06-15.csv"} <= names


def test_observers_of_any_sheet_and_correctors_are_known(mini) -> None:  # noqa: F811
    toml = mini.folder / "study.toml"
    toml.write_text(toml.read_text() + WIDE)
    (mini.site / "scouting.csv").unlink()
    (mini.site / "beetles.csv").write_text(BEETLES)
    correct(mini, f"{PLACE}/beetles.csv,3,,15/6/2026,9,19,")
    assert {"Zqobserver", "Zqcorrector", "AB"} <= observers(mini.study())


def test_a_study_named_after_a_farm_gets_a_coded_name_that_is_still_one(mini, tmp_path) -> None:  # noqa: F811
    mini.declare('name = "North"', 'name = "North"\nkind = "farm"')
    mini.declare('name = "mini"', 'name = "north_2026"')
    study = mini.study()
    (edition,) = editions_of(study, "public")
    write_copy(study, edition, tmp_path / "copy")
    name = read_study(tmp_path / "copy").name
    assert name.startswith("farm_")
    assert name.endswith("_2026")
