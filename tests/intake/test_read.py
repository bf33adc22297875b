"""Reading a site-season that is as it should be."""

import hashlib

import pandas as pd
import pytest

from trialkit.columns import TABLES
from trialkit.errors import DataError
from trialkit.intake import read_site_season
from trialkit.intake.schemas import column_names


def test_valid_files_have_no_fault_and_lose_no_row(mini):
    read = mini.read()
    assert [str(fault) for fault in read.faults] == []
    assert {table: len(read.tables[table]) for table in TABLES} == {
        "plots": 4,
        "scouting": 8,
        "ratings": 4,
        "harvest": 5,
        "fruit_sizes": 3,
        "events": 3,
        "weather": 3,
    }
    assert read.usable
    assert len(read.left_out) == 0


def test_tables_have_all_columns_in_their_types(mini):
    tables = mini.read().tables
    for table in TABLES:
        assert list(tables[table].columns) == list(column_names(table))
    scouting = tables["scouting"]
    assert scouting["date"].dtype == "datetime64[ns]"
    assert scouting["plot"].dtype == "str"
    assert scouting["count"].dtype == "float64"
    assert scouting.loc[2, "date"] == pd.Timestamp("2026-06-05")
    assert scouting["note"].isna().sum() == 7


def test_workbook_reads_like_the_csv_files(mini):
    from_csv = mini.read().tables
    mini.workbook()
    read = mini.read()
    assert [str(fault) for fault in read.faults] == []
    for table in TABLES:
        pd.testing.assert_frame_equal(read.tables[table], from_csv[table])


def test_us_units_become_si(mini):
    mini.declare('units = "si"', 'units = "us"')
    tables = mini.read().tables
    # 1 lb = 0.45359237 kg, 1 ft = 0.3048 m, 1 in = 25.4 mm exactly (NIST SP 811); 32 °F = 0 °C.
    assert tables["harvest"]["weight"].iloc[0] == pytest.approx(3.2 * 0.45359237)
    assert tables["plots"]["area"].iloc[0] == pytest.approx(6 * 0.3048**2)
    assert tables["fruit_sizes"]["length"].iloc[0] == pytest.approx(180 * 25.4)
    assert tables["weather"]["rain"].iloc[2] == pytest.approx(4.2 * 25.4)
    assert tables["weather"]["tmax"].iloc[2] == pytest.approx((26 - 32) * 5 / 9)


def test_files_carry_their_checksum_and_rows(mini):
    records = {record.path: record for record in mini.read().files}
    record = records["data/2026/north/scouting.csv"]
    data = (mini.site / "scouting.csv").read_bytes()
    assert record.sha256 == hashlib.sha256(data).hexdigest()
    assert record.rows == 8


def test_unusable_site_season_raises_only_when_required(mini):
    mini.change("plots", "treatment", "entry")
    read = mini.read()
    assert not read.usable
    with pytest.raises(DataError, match="treatment"):
        read.require_usable()


def test_usable_site_season_passes_require_usable(mini):
    read = mini.read()
    assert read.require_usable() is read


def test_folder_that_was_removed_is_one_fault(mini):
    read = read_site_season(mini.study(), 2026, "south")
    assert [fault.code for fault in read.faults] == ["missing_folder"]
    assert not read.usable
    assert not read.nothing_typed
    assert read.faults[0].file.endswith("data/2026/south")


def test_season_that_has_not_begun_is_told_as_nothing_typed(mini):
    read = read_site_season(mini.study(), 2027, "south")
    assert [(fault.code, fault.severity) for fault in read.faults] == [("nothing_typed", "note")]
    assert read.nothing_typed
