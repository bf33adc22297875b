"""The weather of a site-season in the report."""

import shutil

import pandas as pd
import pytest

from trialkit.report.site_season import open_report


def shown(report):
    return report.as_run()._repr_mimebundle_()["text/plain"].replace("\xa0", " ")


def test_sums_normals_and_days_in_bloom_stand_with_their_cut_offs_and_sources(example_folder):
    said = shown(open_report(example_folder, 2025, "brook_terrace")).replace("\\", "")
    assert "(base 50 °F, ceiling 95 °F, simple average; common practice, no source)" in said
    assert "of the normal" in said
    assert "(from study.toml)" in said
    assert "(0.04 in of rain or more)" in said
    assert "(above 88 °F). Source of the limits: wet: 1 mm as in the ETCCDI" in said


@pytest.fixture
def station(example_folder, tmp_path):
    """One site of the example with a station's file of 21 years and a gap, no stated normal."""
    folder = tmp_path / "study"
    shutil.copytree(example_folder, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    normal = next(line for line in text.splitlines() if line.startswith("normal_rain"))
    (folder / "study.toml").write_text(text.replace(f"{normal}\n", "", 1), encoding="utf-8")
    days = pd.date_range("2005-01-01", "2025-09-30")
    days = days[(days < "2025-06-10") | (days > "2025-06-14")]
    lines = [f"XX0,{day:%Y-%m-%d},25,280,150" for day in days]
    path = folder / "data" / "2025" / "alder_bench" / "weather.csv"
    path.write_text("\n".join(["STATION,DATE,PRCP,TMAX,TMIN", *lines]) + "\n")
    return open_report(folder, 2025, "alder_bench")


def test_a_station_s_own_years_stand_where_no_normal_is_stated(station):
    said = shown(station).replace("\\", "")
    assert "(from earlier years of the station)" in said
    assert "% of the normal" in said
    assert "20 or more earlier years of the same station; a climatological normal takes 30" in said


def test_gaps_are_shown_in_words_and_in_the_figure(station):
    assert "No temperature is on record for 5 of 112 days (2025-06-10 to 2025-06-14)" in shown(
        station
    ).replace("\\", "")
    figure = station.season_figure()
    assert "No rain record on 5 days. No temperature record on 5 days." in figure.alt
    assert "days without a record" in figure.caption
