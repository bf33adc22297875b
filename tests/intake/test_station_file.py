"""A station's file in NOAA's GHCN-Daily by-station layout is read in its own units."""

import pandas as pd
import pytest

LINES = """XX000000001,20251231,TMAX,10,,,X,
XX000000001,20260605,TMAX,245,,,X,0700
XX000000001,20260605,TMIN,-5,,,X,0700
XX000000001,20260605,PRCP,42,,,X,0700
XX000000001,20260606,TMAX,999,,I,X,0700
XX000000001,20260606,TMIN,130,,,X,0700
XX000000001,20260606,PRCP,-9999,,,X,0700
XX000000001,20260606,SNOW,0,,,X,0700
"""


@pytest.mark.parametrize(
    "header", ["", "ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME\n"]
)
@pytest.mark.parametrize("units", ["si", "us"])
def test_tenths_become_degrees_and_millimetres_whatever_the_studys_units(mini, header, units):
    path = mini.folder / "study.toml"
    text = path.read_text()
    path.write_text(text.replace('units = "si"', f'units = "{units}"'))
    mini.write("weather", header + LINES)
    read = mini.read()
    weather = read.tables["weather"]
    assert not [f for f in read.errors if "weather" in f.file]
    assert weather["date"].tolist() == [pd.Timestamp("2026-06-05"), pd.Timestamp("2026-06-06")]
    assert weather["tmax"].tolist() == pytest.approx([24.5, float("nan")], nan_ok=True)
    assert weather["tmin"].tolist() == pytest.approx([-0.5, 13.0])
    assert weather["rain"].tolist() == pytest.approx([4.2, float("nan")], nan_ok=True)


def test_values_that_failed_the_networks_checks_are_told(mini):
    mini.write("weather", LINES)
    assert [f.code for f in mini.read().faults] == ["station_flag"]


def test_a_value_that_is_no_number_is_an_error_at_its_day(mini):
    mini.write("weather", LINES.replace("TMIN,130", "TMIN,13x"))
    errors = [(f.code, f.row, f.column, f.value) for f in mini.read().errors]
    assert errors == [("text_in_number", 5, "tmin", "13x")]
