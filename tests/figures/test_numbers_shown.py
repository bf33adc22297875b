"""What is plotted is what was handed over, in the units that people read."""

import numpy as np
import pandas as pd
import pytest
from matplotlib.collections import FillBetweenPolyCollection

from tests.figures.boxes import caught
from tests.figures.conftest import (
    BEETLES,
    YIELDS,
    bloom_frame,
    effects_frame,
    forest_frames,
    grades_frame,
    means_frame,
    values_frame,
    weather_frame,
)
from trialkit import figures

# One kg/m²: 0.45359237 kg a pound, 4046.87261 m² a US survey acre (the one that pint takes).
LB_ACRE = 4046.87261 / 0.45359237


def test_season_curve_averages_the_plots_of_each_visit(study, curve, events):
    data = figures.season_curve(study, curve, events, "flea_beetle").data
    counts = data[data["kind"] == "count"].set_index(["treatment", "date"])["mean_count"]
    expected = curve.groupby(["treatment", "date"])["mean_count"].mean()
    pd.testing.assert_series_equal(counts.sort_index(), expected, check_index_type=False)


def test_season_curve_adds_up_stages_before_it_averages(study, curve, events):
    both = pd.concat([curve, curve.assign(stage="larva", mean_count=1.0)])
    one = figures.season_curve(study, curve, events, "flea_beetle", "adult").data
    two = figures.season_curve(study, both, events, "flea_beetle").data
    np.testing.assert_allclose(two["mean_count"] - 1, one["mean_count"])


def test_season_curve_says_whose_plots_were_all_lost(study, curve, events):
    left = curve[curve["treatment"] != "kaolin"]
    assert "No counts for Kaolin." in figures.season_curve(study, left, events).alt


def test_season_curve_says_that_the_season_is_running(study, curve, events):
    later = curve.assign(date=curve["date"] + pd.DateOffset(years=1))
    moved = events.assign(date=events["date"] + pd.DateOffset(years=1))
    picture = figures.season_curve(study, later, moved)
    assert "still running: counts up to 19 August" in picture.caption.replace("\u00a0", " ")


def test_effects_say_a_bound_as_a_bound(study, beetle_effects):
    alt = figures.effects(study, beetle_effects).alt.replace("\u00a0", " ")
    assert "at least 91 % lower with Netting (worthwhile)" in alt
    assert "42 % lower with Silver mulch (95 % interval 24 to 55 % lower; some effect)" in alt


def test_effects_show_primary_measures_unless_told_otherwise(study):
    late = ("early_yield", "netting", 4.0, -3.0, 11.0, "percent", 15.0, "not settled", "")
    frame = effects_frame([*YIELDS, late])
    assert set(figures.effects(study, frame).data["measure"]) == {"marketable_yield"}
    assert set(figures.effects(study, frame, ["early_yield"]).data["measure"]) == {"early_yield"}


def test_effects_in_units_are_converted_as_differences(study):
    row = ("marketable_yield", "netting", 0.5, 0.1, 0.9, "yield_area", 0.2, "some effect", "")
    data = figures.effects(study, effects_frame([row])).data
    assert data["effect"].item() == pytest.approx(0.5 * LB_ACRE, rel=1e-6)
    assert data["margin"].item() == pytest.approx(0.2 * LB_ACRE, rel=1e-6)
    assert data["effect_unit"].item() == "lb/acre"


def test_effects_without_an_estimate_say_so(study):
    row = ("flea_beetle_days", "netting", np.nan, -np.inf, np.inf, "percent", 30.0,
           "not settled", "")  # fmt: skip
    assert "no estimate with Netting" in figures.effects(study, effects_frame([row])).alt


def test_forest_keeps_site_seasons_and_pooled_rows_apart(study):
    own, pooled = forest_frames()
    data = figures.forest(study, own, pooled, "flea_beetle_days", "netting").data
    assert list(data["site"]).count("across") == 1
    assert len(data) == 10
    assert data["prediction_low"].notna().sum() == 1


def test_forest_hides_site_names_when_given_others(study):
    own, pooled = forest_frames(1)
    shown = {"brook_terrace": "Farm K"}
    one = figures.forest(study, own, pooled[:0], "flea_beetle_days", "netting", shown)
    assert "Farm K 2024" in one.alt
    assert "Brook" not in one.alt + one.caption


def test_forest_marks_the_season_that_is_still_running(study):
    own, pooled = forest_frames(3)
    caption = figures.forest(study, own, pooled, "flea_beetle_days").caption
    assert "* The season is still running" in caption


def test_yield_is_shown_in_pounds_per_acre(study, plots):
    data = figures.yield_and_culls(study, means_frame(), grades_frame(plots)).data
    shown = data.loc[data["kind"] == "yield", "value"].to_numpy()
    np.testing.assert_allclose(shown, means_frame()["mean"] * LB_ACRE, rtol=1e-6)


def test_culls_are_percent_of_all_fruit_picked(study):
    rows = [
        ("101", 1, "check", "marketable", "", 80, 8.0),
        ("101", 1, "check", "cull", "sunscald", 15, 1.0),
        ("101", 1, "check", "cull", "insect_feeding", 5, 1.0),
    ]
    columns = ["plot", "block", "treatment", "grade", "cull_cause", "fruit", "weight"]
    grades = pd.DataFrame(rows, columns=columns)
    picture = figures.yield_and_culls(study, means_frame()[:0], grades)
    shares = picture.data.set_index("cull_cause")["value"].to_dict()
    assert shares == {"insect_feeding": 5.0, "sunscald": 15.0}
    assert "most of all for sunscald" in picture.alt


def test_plot_map_crosses_out_lost_plots_and_says_why(study, plots):
    lost = plots.assign(lost=["flooded", *[""] * 19])
    picture = figures.plot_map(study, lost, values_frame(plots), "marketable_yield")
    assert "Lost: plot 101 (flooded)." in picture.alt
    assert np.isnan(picture.data.set_index("plot").loc["101", "value"])


def test_plot_map_without_rows_and_columns_takes_each_block_as_a_row(study, plots):
    bare = plots.drop(columns=["row", "column"])
    data = figures.plot_map(study, bare, values_frame(plots), "marketable_yield").data
    assert not data.duplicated(["x", "y"]).any()
    assert (data.groupby("block")["y"].nunique() == 1).all()


def test_weather_is_shown_in_the_units_of_the_study(study):
    weather = weather_frame()
    data = figures.weather_strip(study, weather).data
    np.testing.assert_allclose(data["tmin"], weather["tmin"] * 1.8 + 32)
    np.testing.assert_allclose(data["rain"], weather["rain"] / 25.4)


def test_weather_says_days_without_a_record(study, plots):
    gaps = weather_frame().drop(index=range(40, 45))
    picture = figures.weather_strip(study, gaps, bloom_frame(plots))
    assert "No rain record on 5 days." in picture.alt
    assert len(picture.data) == 140


def test_temperature_is_drawn_around_a_gap_not_across_it(study, monkeypatch):
    gaps = weather_frame().drop(index=range(40, 45))
    with caught(monkeypatch) as drawn:
        figures.weather_strip(study, gaps)
    (band,) = drawn[0].findobj(FillBetweenPolyCollection)
    before, after = (path.vertices[:, 0] for path in band.get_paths())
    assert after.min() - before.max() == 6
    assert all(np.isfinite(path.vertices).all() for path in band.get_paths())


@pytest.mark.parametrize(
    "draw",
    [
        lambda s: figures.effects(s, effects_frame(BEETLES)[:0]),
        lambda s: figures.forest(s, *[f[:0] for f in forest_frames()], "flea_beetle_days"),
        lambda s: figures.weather_strip(s, weather_frame()[:0]),
        lambda s: figures.yield_and_culls(s, means_frame()[:0], pd.DataFrame(
            columns=["treatment", "grade", "cull_cause", "fruit"])),
    ],
)  # fmt: skip
def test_where_there_is_nothing_to_draw_the_picture_says_so(study, draw):
    picture = draw(study)
    assert picture.image.startswith(b"\x89PNG")
    assert picture.alt.endswith(("estimated.", "yet.", "record."))
