"""Findings of one site-season."""

import numpy as np
import pytest

from trialkit.columns import EFFECTS, MEANS
from trialkit.findings import site_season_findings
from trialkit.inference import analyze


@pytest.fixture
def found(example_study, yields):
    return site_season_findings(example_study, yields)


def test_frames_have_the_columns_that_other_rooms_rely_on(found):
    assert tuple(found.effects.columns) == EFFECTS
    assert tuple(found.means.columns) == MEANS


def test_effects_are_those_of_the_analysis_on_a_grower_s_scale(found, yields):
    analysis = analyze(
        yields, response="value", treatment="treatment", block="block", control="check"
    )
    means = analysis.means.set_index("treatment")["mean"]
    expected = 100 * (means["netting"] / means["check"] - 1)
    row = found.effects.set_index("treatment").loc["netting"]
    assert row["effect"] == pytest.approx(expected, rel=1e-12)
    assert row["effect_low"] < expected < row["effect_high"]


def test_verdicts_follow_the_margin_of_the_study(found):
    verdicts = found.effects.set_index("treatment")[["verdict", "direction"]]
    assert tuple(verdicts.loc["netting"]) == ("worthwhile", "better")
    assert tuple(verdicts.loc["clover"]) == ("worthwhile", "worse")


def test_the_percent_interval_leaves_out_zero_just_where_the_difference_does(found):
    effects = found.effects
    by_difference = (effects["low"] > 0) | (effects["high"] < 0)
    by_percent = (effects["effect_low"] > 0) | (effects["effect_high"] < 0)
    np.testing.assert_array_equal(by_difference, by_percent)


def test_a_measure_without_values_says_why(found):
    assert "no plot with a value" in found.unanswered["days_to_first_bloom"]


def test_plots_left_out_are_not_analysed(example_study, yields):
    fewer = yields.copy()
    fewer.loc[fewer["plot"] == "101", "left_out"] = "flooded"
    found = site_season_findings(example_study, fewer)
    assert found.means.set_index("treatment")["n"]["netting"] == 3


def test_a_margin_in_units_is_read_in_the_unit_that_people_type(example_study, make_values):
    values = make_values("days_to_first_bloom", (30.0, 31.0, 30.0, 30.5, 40.0), noise=0.01)
    found = site_season_findings(example_study, values)
    effects = found.effects.set_index("treatment")
    assert set(effects["effect_unit"]) == {"days"}
    assert effects.loc["kaolin", "verdict"] == "worthwhile"
    assert effects.loc["kaolin", "margin"] == 4.0
