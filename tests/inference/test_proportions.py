"""Shares: odds ratios, percentage points, and bounds where nothing or nothing else was found."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference.design import Design, make_design
from trialkit.inference.proportions import fit_proportions
from trialkit.inference.standardisation import percentage_points

CULLS = [[12, 3, 8], [20, 5, 14], [9, 4, 7], [15, 4, 9]]


def design(culls: object, fruit: object = 40, family: str = "proportion") -> Design:
    table = np.asarray(culls, dtype=float)
    frame = pd.DataFrame({
        "culls": table.ravel(), "fruit": np.broadcast_to(fruit, table.shape).ravel().astype(float),
        "t": ["check", "net", "straw"] * len(table), "rep": np.repeat(np.arange(len(table)), 3),
    })  # fmt: skip
    size = {"trials": "fruit"} if family == "proportion" else {"exposure": "fruit"}
    return make_design(frame, response="culls", treatment="t", block="rep", family=family,
                       control="check", **size)  # fmt: skip


def test_equal_trials_and_equal_blocks_give_the_odds_of_the_totals():
    culls = np.tile(np.array([[10, 5, 8]]), (4, 1))
    means = fit_proportions(design(culls)).means
    odds = np.exp(means.estimate[1] - means.estimate[0])
    assert odds == pytest.approx((5 / 35) / (10 / 30), rel=1e-9)


def test_percentage_points_of_equal_trials_are_those_of_the_totals():
    table = percentage_points(design(CULLS)).set_index("treatment")
    assert table.loc["net", "points"] == pytest.approx(100 * (16 - 56) / 160, rel=1e-9)
    assert table.loc["net", "low"] < -25 < table.loc["net", "high"] < 0


def test_turning_events_into_their_opposite_turns_signs_only():
    one, other = (percentage_points(design(c)) for c in (CULLS, 40 - np.array(CULLS)))
    assert other["points"].to_numpy() == pytest.approx(-one["points"].to_numpy(), rel=1e-9)
    assert other["se"].to_numpy() == pytest.approx(one["se"].to_numpy(), rel=1e-7)


def test_a_treatment_without_culls_is_bounded_on_every_scale():
    culls = np.array(CULLS) * [1, 0, 1]
    result, points = fit_proportions(design(culls)), percentage_points(design(culls))
    row = points.set_index("treatment").loc["net"]
    assert 0 < result.bounds["net", "check"].high < 0.2
    assert 0 < result.bounds["net", ""].high < 0.1
    assert row["bound"]
    assert -100 <= row["low"] < row["points"] < row["high"] < 0


def test_a_treatment_of_nothing_but_culls_mirrors_one_without_any():
    none = fit_proportions(design(np.array(CULLS) * [1, 0, 1]))
    full = fit_proportions(design(40 - np.array(CULLS) * [1, 0, 1]))
    mirrored = 1 / full.bounds["net", "check"].low
    assert mirrored == pytest.approx(none.bounds["net", "check"].high, rel=1e-6)
    assert full.bounds["net", ""].low == pytest.approx(1 - none.bounds["net", ""].high, rel=1e-6)


@pytest.mark.parametrize("culls", [np.zeros((4, 3)), np.full((4, 3), 40)])
def test_all_plots_at_one_extreme_are_said_in_words(culls):
    result = fit_proportions(design(culls))
    assert "treatments cannot be compared" in result.notes[0]
    with pytest.raises(AnalysisError, match="no difference"):
        percentage_points(design(culls))


def test_only_extremes_still_give_finite_numbers():
    result = fit_proportions(design([[40, 0, 0]] * 3))
    assert np.isfinite(result.means.estimate).all()
    assert result.bounds["check", "net"].low > 100


def test_percentage_points_of_counts_are_refused():
    with pytest.raises(AnalysisError, match="family 'proportion'"):
        percentage_points(design(CULLS, family="count"))


def test_plots_with_more_fruit_do_not_count_in_proportion_when_plots_differ():
    # Between plots that differ, ten times the fruit cannot mean a standard error of 1 / sqrt(10).
    small, large = design(CULLS), design(10 * np.array(CULLS), fruit=400)
    se = [np.sqrt(np.diag(fit_proportions(d).means.covariance)).mean() for d in (small, large)]
    assert se[1] > se[0] / np.sqrt(10)
