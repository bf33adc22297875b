"""No label overlaps, nothing is cut, in plain and in awkward cases."""

import pandas as pd
import pytest

from tests.figures.boxes import assert_well_set
from tests.figures.conftest import (
    BEETLES,
    YIELDS,
    bloom_frame,
    curve_frame,
    effects_frame,
    events_frame,
    forest_frames,
    grades_frame,
    many_treatments,
    means_frame,
    plots_frame,
    values_frame,
    weather_frame,
)
from trialkit import figures


def long_names(study):
    eight = many_treatments(study)
    return eight, plots_frame(eight.treatment_ids)


def test_season_curve(study, plots, curve, events, monkeypatch):
    assert_well_set(lambda: figures.season_curve(study, curve, events, "flea_beetle"), monkeypatch)


def test_season_curve_of_eight_long_names(study, monkeypatch):
    eight, plots = long_names(study)
    curve, events = curve_frame(plots), events_frame(plots)
    assert_well_set(lambda: figures.season_curve(eight, curve, events, "flea_beetle"), monkeypatch)


@pytest.mark.parametrize("visits", [1, 2, 4])
def test_season_curve_early_in_the_season(study, plots, monkeypatch, visits):
    curve, events = curve_frame(plots, visits), events_frame(plots)
    assert_well_set(lambda: figures.season_curve(study, curve, events, "flea_beetle"), monkeypatch)


def test_season_curve_where_nothing_was_found(study, plots, curve, events, monkeypatch):
    none = curve.assign(mean_count=0.0)
    assert_well_set(lambda: figures.season_curve(study, none, events, "flea_beetle"), monkeypatch)


def test_effects_of_two_measures(study, two_measures, monkeypatch):
    assert_well_set(lambda: figures.effects(study, two_measures), monkeypatch)


def test_effects_of_eight_long_names(study, monkeypatch):
    eight = many_treatments(study)
    rows = [
        ("marketable_yield", f"t{n}", 40.0 * n - 160, 40.0 * n - 190, 40.0 * n, "percent", 10.0,
         "no worthwhile difference", "")
        for n in range(1, 8)
    ]  # fmt: skip
    assert_well_set(lambda: figures.effects(eight, effects_frame(rows)), monkeypatch)


def test_forest(study, monkeypatch):
    own, pooled = forest_frames()
    assert_well_set(
        lambda: figures.forest(study, own, pooled, "flea_beetle_days", "netting"), monkeypatch
    )


def test_forest_of_one_site_season(study, monkeypatch):
    own, pooled = forest_frames(1, ("alder_bench",))
    assert_well_set(
        lambda: figures.forest(study, own, pooled[:0], "flea_beetle_days", "netting"), monkeypatch
    )


def test_forest_of_fifteen_site_seasons(study, monkeypatch):
    own, pooled = forest_frames(5)
    assert_well_set(
        lambda: figures.forest(study, own, pooled, "flea_beetle_days", "netting"), monkeypatch
    )


def test_yield_and_culls(study, plots, monkeypatch):
    means, grades = means_frame(), grades_frame(plots)
    assert_well_set(lambda: figures.yield_and_culls(study, means, grades), monkeypatch)


def test_yield_and_culls_of_eight_long_names(study, monkeypatch):
    eight, plots = long_names(study)
    means, grades = means_frame(eight.treatment_ids), grades_frame(plots)
    assert_well_set(lambda: figures.yield_and_culls(eight, means, grades), monkeypatch)


def test_plot_map(study, plots, monkeypatch):
    values = values_frame(plots)
    assert_well_set(lambda: figures.plot_map(study, plots, values, "marketable_yield"), monkeypatch)


def test_plot_map_of_eight_long_names(study, monkeypatch):
    eight, plots = long_names(study)
    values = values_frame(plots)
    assert_well_set(lambda: figures.plot_map(eight, plots, values, "marketable_yield"), monkeypatch)


def test_weather_strip(study, plots, monkeypatch):
    weather, bloom = weather_frame(), bloom_frame(plots)
    assert_well_set(lambda: figures.weather_strip(study, weather, bloom), monkeypatch)


def test_weather_strip_of_a_short_record(study, monkeypatch):
    weather = weather_frame(days=20)
    assert_well_set(lambda: figures.weather_strip(study, weather), monkeypatch)


def test_forest_of_every_treatment(study, monkeypatch):
    own, pooled = forest_frames(treatments=("netting", "silver_mulch", "clover", "kaolin"))
    assert_well_set(lambda: figures.forest(study, own, pooled, "flea_beetle_days"), monkeypatch)


def test_a_wide_open_interval_does_not_flatten_the_rest(study, monkeypatch):
    rows = [*BEETLES[:2], ("flea_beetle_days", "clover", 10.0, -90.0, 2400.0, "percent", 30.0,
                           "not settled", "")]  # fmt: skip
    picture = assert_well_set(lambda: figures.effects(study, effects_frame(rows)), monkeypatch)
    assert picture.data["effect_high"].max() == 2400.0
    assert "runs on beyond the picture" in picture.caption


def test_every_picture_is_seven_inches_wide_or_less(study, monkeypatch):
    picture = figures.effects(study, effects_frame(YIELDS))
    assert picture.width <= 7
    assert isinstance(picture.data, pd.DataFrame)
