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


HEADER = (
    "STATION DATE LATITUDE NAME PRCP PRCP_ATTRIBUTES SNOW TMAX TMAX_ATTRIBUTES TMIN TMIN_ATTRIBUTES"
)
WIDE = (
    ",".join(f'"{name}"' for name in HEADER.split())
    + """
"XX000000001","2025-06-05","1.0","SOMEWHERE, XX","   10",",,X","0","  310",",,X","  100",",,X"
"XX000000001","2026-06-05","1.0","SOMEWHERE, XX","   42",",,X,0700","0","  245",",,X","   -5",",,X"
"XX000000001","2026-06-06","1.0","SOMEWHERE, XX","-9999",,"0","  999",",I,X","  130",",,X"
"""
)
US_ORDER = """STATION,DATE,PRCP,TMAX,TMIN
XX000000001,2026-06-05,0.10,86,50
XX000000001,2026-06-06,,95,
"""


def test_one_line_a_day_in_tenths_is_read_like_the_other_layout(mini):
    mini.write("weather", WIDE)
    read = mini.read()
    weather = read.tables["weather"]
    assert not read.errors
    assert weather["date"].tolist() == [pd.Timestamp("2026-06-05"), pd.Timestamp("2026-06-06")]
    assert weather["tmax"].tolist() == pytest.approx([24.5, float("nan")], nan_ok=True)
    assert weather["tmin"].tolist() == pytest.approx([-0.5, 13.0])
    assert weather["rain"].tolist() == pytest.approx([4.2, float("nan")], nan_ok=True)
    codes = [f.code for f in read.faults if "weather" in f.file]
    assert set(codes) >= {"station_units", "station_flag"}


def test_a_file_ordered_in_fahrenheit_and_inches_is_told_by_its_heat(mini):
    mini.write("weather", US_ORDER)
    read = mini.read()
    assert read.tables["weather"]["tmax"].tolist() == pytest.approx([30.0, 35.0])
    assert read.tables["weather"]["rain"].iloc[0] == pytest.approx(2.54)
    (note,) = [f.what for f in read.faults if f.code == "station_units"]
    assert note == ("values are read as °F and inches, because no place on Earth has had 95 °C")


def test_a_file_ordered_in_celsius_and_millimetres_is_taken_as_it_stands(mini):
    text = US_ORDER.replace("0.10,86,50", "2.5,30.0,10.0").replace("95", "35.0")
    mini.write("weather", text)
    weather = mini.read().tables["weather"]
    assert weather["tmax"].tolist() == pytest.approx([30.0, 35.0])
    assert weather["rain"].iloc[0] == pytest.approx(2.5)


@pytest.mark.parametrize("layout", [LINES, WIDE])
def test_earlier_years_of_the_file_are_kept_for_the_normals(mini, layout):
    mini.write("weather", layout)
    earlier = mini.read().earlier_weather
    (day,) = earlier.to_dict("records")
    long = layout is LINES
    assert day["date"] == pd.Timestamp("2025-12-31" if long else "2025-06-05")
    assert day["tmax"] == pytest.approx(1.0 if long else 31.0)
    if not long:
        assert day["rain"] == pytest.approx(1.0)


def test_a_file_of_two_stations_is_not_mixed(mini):
    mini.write("weather", US_ORDER.replace("XX000000001,2026-06-06", "XX000000002,2026-06-06"))
    faults = [f for f in mini.read().faults if f.code == "several_stations"]
    assert [f.severity for f in faults] == ["error"]
    assert "2 stations" in faults[0].what
