"""Counts and shares over environments: what is pooled, what is only bounded, what is said."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.inference.analyze import analyze
from trialkit.inference.design import make_design
from trialkit.inference.pooling import pool
from trialkit.inference.two_stage import fit_two_stage


def plots(environments: int = 4, blocks: int = 4, treatments: int = 3, seed: int = 1):
    draw = np.random.default_rng(seed)
    e, b, t = (a.ravel() for a in np.indices((environments, blocks, treatments)))
    mean = np.exp(3 + 0.3 * draw.normal(size=environments)[e] - 0.5 * t)
    count = draw.poisson(draw.gamma(3.0, mean / 3.0)).astype(float)
    return pd.DataFrame({"count": count, "t": t, "b": b, "e": e})


def fit(frame: pd.DataFrame, family: str = "count", **more):
    design = make_design(frame, response="count", treatment="t", block="b", environment="e",
                         family=family, control=0, **more)  # fmt: skip
    return fit_two_stage(design)


def ratio(result, i: int = 1) -> float:
    return float(result.means.estimate[i] - result.means.estimate[0])


@pytest.mark.parametrize("seed", range(4))
def test_one_ratio_is_pooled_as_univariate_pooling_does(seed):
    result = fit(plots(treatments=2, environments=6, seed=seed))
    rows = pd.DataFrame(result.record["per_environment"])
    alone, pooled = pool(rows["estimate"], rows["se"]), result.record["ratios"][0]
    assert ratio(result) == pytest.approx(alone.estimate, rel=1e-8)
    assert result.extra["tau2"] == pytest.approx(alone.tau2, rel=1e-6, abs=1e-10)
    reach = stats.t.ppf(0.975, pooled["df"]) * pooled["se"]
    assert reach == pytest.approx(alone.high - alone.estimate, rel=1e-8)


def test_large_counts_give_the_ratios_of_totals():
    frame = plots(treatments=2)
    frame["count"] = frame["count"] * 500 + 100
    result = fit(frame)
    for row in result.record["per_environment"]:
        part = frame[frame["e"].astype(str) == row["environment"]].groupby("t")["count"].sum()
        assert row["estimate"] == pytest.approx(np.log(part[1] / part[0]), abs=1e-3)


def test_contrast_interval_uses_environments_by_treatments_degrees_of_freedom():
    result = fit(plots(environments=4, treatments=3))
    assert result.tests.loc[0, ["df1", "df2"]].tolist() == [2, 6]
    assert result.means.pair_df[0, 1] == 6


def test_prediction_interval_is_wider_than_that_of_the_mean():
    result = fit(plots())
    for row in result.record["ratios"]:
        reach = 2.4469 * row["se"]  # t on 6 degrees of freedom
        assert row["prediction_low"] <= row["estimate"] - reach + 1e-3
        assert row["prediction_high"] >= row["estimate"] + reach - 1e-3


def test_environment_without_insects_under_one_treatment_takes_part():
    frame = plots()
    frame.loc[(frame["e"] == 2) & (frame["t"] == 2), "count"] = 0
    result = fit(frame)
    assert not result.bounds
    rows = pd.DataFrame(result.record["per_environment"]).set_index(["environment", "treatment"])
    assert rows.loc[("2", "2"), "only_bound"]
    assert not rows.loc[("1", "2"), "only_bound"]
    assert np.isfinite(result.means.covariance).all()
    assert any("2 at 2" in note and "only a bound" in note for note in result.notes)


def test_environment_without_insects_weighs_by_what_was_expected_there():
    frame = plots()
    frame.loc[(frame["e"] == 2) & (frame["t"] == 2), "count"] = 0
    rows = pd.DataFrame(fit(frame).record["per_environment"]).set_index("environment")
    errors = rows.loc[rows["treatment"] == "2", "se"]
    assert errors["2"] == pytest.approx(errors.drop("2").mean(), rel=0.15)


def alike(treatments: int) -> pd.DataFrame:
    """Return four environments with the same counts; the last treatment has none in the first."""
    frame = plots(environments=1, treatments=treatments)
    whole = pd.concat([frame.assign(e=e) for e in range(4)], ignore_index=True)
    return whole.assign(count=whole["count"].where((whole["e"] > 0) | (whole["t"] < 2), 0.0))


def test_interval_of_a_single_ratio_is_not_narrower_for_close_agreement():
    result = fit(alike(2))
    least = (stats.norm.ppf(0.975) / stats.t.ppf(0.975, 3)) ** 2
    assert result.extra["hartung_knapp_factor"] == pytest.approx(least)
    assert any("safeguard" in note for note in result.notes)


def test_interval_of_several_ratios_keeps_its_own_factor_beside_a_bound():
    frame = alike(3)
    rare = frame.assign(count=np.where((frame["t"] == 2) & (frame["e"] > 0), frame["b"] == 0, 0.0))
    frame["count"] = np.where(frame["t"] == 2, rare["count"], frame["count"])
    result = fit(frame)
    assert any("only a bound" in note for note in result.notes)
    assert result.extra["tau2"] == 0
    assert result.extra["hartung_knapp_factor"] < (1.96 / stats.t.ppf(0.975, 6)) ** 2


def test_environments_that_are_copies_do_not_make_a_ratio_certain():
    frame = plots(environments=1)
    result = fit(pd.concat([frame.assign(e=e) for e in range(4)], ignore_index=True))
    least = stats.chi2.ppf(0.001, 6) / 6
    assert result.extra["hartung_knapp_factor"] == pytest.approx(least)
    assert any("safeguard" in note for note in result.notes)


def test_an_empty_environment_pulls_the_ratio_down():
    frame = plots()
    before = ratio(fit(frame), 2)
    frame.loc[(frame["e"] == 2) & (frame["t"] == 2), "count"] = 0
    assert ratio(fit(frame), 2) < before


def even(count_check: float) -> pd.DataFrame:
    """Return a check with equal counts in two environments of 3 blocks, and an empty treatment."""
    e, b, t = (a.ravel() for a in np.indices((2, 3, 2)))
    return pd.DataFrame({"count": np.where(t == 0, count_check, 0.0), "t": t, "b": b, "e": e})


def test_treatment_empty_everywhere_gets_the_exact_bound_over_all_environments():
    # Given N Poisson insects, all on the check: (1 + ratio)^-N = 0.05 (conditional binomial).
    for count in (1.0, 4.0):
        bound, total = fit(even(count)).bounds["1", "0"], 6 * count
        assert bound.low == 0
        assert bound.high == pytest.approx(0.05 ** (-1 / total) - 1, rel=0.02)
    assert fit(even(1.0)).bounds["1", "0"].p == pytest.approx(0.5**6, rel=0.05)


def test_bound_is_tighter_than_that_of_fewer_insects():
    assert fit(even(8.0)).bounds["1", "0"].high < fit(even(4.0)).bounds["1", "0"].high


def test_empty_treatment_beside_others_leaves_their_ratios_alone():
    frame = plots()
    without = fit(frame)
    extra = frame[frame["t"] == 0].assign(t=9, count=0.0)
    result = fit(pd.concat([frame, extra], ignore_index=True))
    assert ratio(result) == pytest.approx(ratio(without), rel=1e-12)
    assert result.tests.loc[0, "F"] == pytest.approx(without.tests.loc[0, "F"], rel=1e-12)
    assert 0 < result.bounds["9", "0"].high < 0.2
    assert result.bounds["9", "1"].high > result.bounds["9", "0"].high
    assert any("9 in any environment" in note for note in result.notes)


def test_two_empty_treatments_cannot_be_told_apart():
    frame = plots()
    empty = [frame[frame["t"] == 0].assign(t=t, count=0.0) for t in (8, 9)]
    result = fit(pd.concat([frame, *empty], ignore_index=True))
    assert (result.bounds["9", "8"].low, result.bounds["9", "8"].high) == (0.0, np.inf)


def shares(seed: int = 2) -> pd.DataFrame:
    frame = plots(seed=seed)
    draw = np.random.default_rng(seed)
    chance = np.array([0.5, 0.3, 0.2])[frame["t"]]
    return frame.assign(count=draw.binomial(20, chance).astype(float), n=20.0)


def test_shares_are_pooled_as_odds_ratios():
    result = fit(shares(), "proportion", trials="n")
    assert result.means.link == "logit"
    frame = shares().groupby("t")[["count", "n"]].sum()
    odds = frame["count"] / (frame["n"] - frame["count"])
    assert ratio(result) == pytest.approx(np.log(odds[1] / odds[0]), abs=0.1)


def test_share_full_everywhere_gets_a_lower_bound_of_the_odds_ratio():
    frame = shares()
    frame.loc[frame["t"] == 2, "count"] = 20.0
    bound = fit(frame, "proportion", trials="n").bounds["2", "0"]
    assert bound.high == np.inf
    assert bound.low > 20


def test_mirrored_shares_give_mirrored_answers():
    frame = shares()
    frame.loc[frame["t"] == 2, "count"] = 0.0
    up = fit(frame, "proportion", trials="n")
    down = fit(frame.assign(count=20 - frame["count"]), "proportion", trials="n")
    assert ratio(down) == pytest.approx(-ratio(up), rel=1e-6)
    assert down.bounds["2", "0"].low == pytest.approx(1 / up.bounds["2", "0"].high, rel=1e-6)


def test_insect_days_do_not_depend_on_their_unit():
    frame = plots()
    days = frame.assign(count=frame["count"] * 3.7 + 0.1)
    first, second = fit(days), fit(days.assign(count=days["count"] * 24))
    assert ratio(second) == pytest.approx(ratio(first), rel=1e-9)
    assert second.tests.loc[0, "F"] == pytest.approx(first.tests.loc[0, "F"], rel=1e-9)
    shift = second.means.estimate - first.means.estimate
    np.testing.assert_allclose(shift, np.log(24), rtol=1e-9)


def test_exposure_in_another_unit_only_shifts_the_means():
    frame = plots().assign(plants=10.0)
    first = fit(frame, exposure="plants")
    second = fit(frame.assign(plants=5.0), exposure="plants")
    np.testing.assert_allclose(second.means.estimate - first.means.estimate, np.log(2), rtol=1e-8)
    assert ratio(second) == pytest.approx(ratio(first), rel=1e-9)


def test_lost_plots_and_environments_of_different_size_are_pooled():
    frame = plots(environments=5).drop(index=[0, 7, 13, 30])
    frame = frame[(frame["e"] != 4) | (frame["b"] < 3)]
    result = fit(frame[(frame["e"] != 3) | (frame["t"] != 1)])
    assert np.isfinite(result.tests.loc[0, "p"])
    assert len(result.record["per_environment"]) == 9
    assert result.record["ratios"][0]["environments"] == 4


def test_environment_without_any_insect_is_left_out_and_said():
    frame = plots()
    frame.loc[frame["e"] == 1, "count"] = 0
    result = fit(frame)
    assert any(note.startswith("1: all plots alike") for note in result.notes)
    assert result.tests.loc[0, "df2"] == 4


def test_nothing_found_anywhere_is_refused_in_words():
    with pytest.raises(AnalysisError, match="Nothing can be pooled"):
        fit(plots().assign(count=0.0))


def test_information_in_one_environment_only_is_refused_in_words():
    frame = plots()
    with pytest.raises(AnalysisError, match="one environment only"):
        fit(frame.assign(count=frame["count"].where(frame["e"] == 0, 0.0)))


def test_analyze_prints_the_pooled_contrasts():
    done = analyze(plots(), response="count", treatment="t", block="b", environment="e",
                   family="count", control=0, adjust="none")  # fmt: skip
    row = done.to_dict()["contrasts"][0]
    pooled = done.model.record["ratios"][0]
    assert row["estimate"] == pytest.approx(pooled["estimate"])
    assert row["se"] == pytest.approx(pooled["se"])
    assert row["ratio"] == pytest.approx(np.exp(pooled["estimate"]))
