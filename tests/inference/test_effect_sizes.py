"""Effect sizes agree with R's noncentral distributions, pingouin and their definitions."""

import linear_reference as reference
import numpy as np
import pandas as pd
import pingouin
import pytest

import trialkit as tk
from trialkit.inference.effect_sizes import (
    _f_noncentrality,
    _t_noncentrality,
    hedges_g,
    partial_omega_squared,
)
from trialkit.inference.fieller import OPEN, percent_change, ratio_interval


def test_noncentral_t_limits_agree_with_r():
    for key, value in reference.values("noncentral_t").items():
        t, df, p = map(float, key.split("|"))
        assert _t_noncentrality(t, df, p) == pytest.approx(value, rel=1e-6)


def test_noncentral_f_limits_agree_with_r():
    for key, value in reference.values("noncentral_f").items():
        F, df1, df2, p = map(float, key.split("|"))
        assert _f_noncentrality(F, df1, df2, p) == pytest.approx(value, rel=1e-6, abs=1e-6)


def two_groups():
    rng = np.random.default_rng(3)
    return pd.DataFrame({"y": rng.normal(10, 2, 14), "t": ["a", "b"] * 7})


def test_hedges_g_of_two_groups_is_pingouins():
    frame = two_groups()
    done = tk.analyze(frame, response="y", treatment="t")
    b, a = (frame.loc[frame["t"] == x, "y"] for x in "ba")
    found = done.effect_sizes.set_index("kind").loc["hedges_g", "value"]
    assert found == pytest.approx(pingouin.compute_effsize(b, a, eftype="hedges"), rel=1e-9)


# pingouin 0.7 calls pandas in a way that pandas 3.1 announces to drop.
@pytest.mark.filterwarnings("ignore:The inplace keyword")
def test_partial_eta_squared_of_one_way_data_is_pingouins():
    frame = reference.case("crd")
    done = tk.analyze(frame, response="y", treatment="treatment")
    theirs = pingouin.anova(data=frame, dv="y", between="treatment", effsize="np2")["np2"].iloc[0]
    found = done.effect_sizes.set_index("kind").loc["partial_eta_squared", "value"]
    assert found == pytest.approx(theirs, rel=1e-6)


@pytest.mark.parametrize("t", [0.0, 2.2, 30.0])
def test_g_excludes_zero_exactly_when_t_does(t):
    effect = hedges_g(difference=t, sd=1.0, se=1.0, df=10.0)
    assert (effect.low > 0) == (t > 2.228)


def test_omega_squared_below_zero_is_reported_as_zero():
    assert partial_omega_squared(0.5, 4, 12, 20).value == 0.0


def test_fieller_limits_are_where_the_difference_is_at_the_critical_value():
    covariance = np.array([[0.5, 0.1], [0.1, 0.4]])
    found = ratio_interval((7.0, 5.0), covariance, 2.2)
    for rho in (found.low, found.high):
        variance = covariance[0, 0] - 2 * rho * covariance[0, 1] + rho**2 * covariance[1, 1]
        assert abs(7.0 - rho * 5.0) / np.sqrt(variance) == pytest.approx(2.2, rel=1e-9)


def test_an_open_percent_change_says_so():
    effect = percent_change(ratio_interval((7.0, 0.5), np.eye(2), 2.2))
    assert np.isnan(effect.low)
    assert effect.note == OPEN


def across(seed: int, gap: float = 0.0):
    draw = np.random.default_rng(seed)
    e, b, t = (codes.ravel() for codes in np.indices((4, 3, 4)))
    y = draw.normal(size=4)[e] + 0.5 * draw.normal(size=(4, 4))[e, t] + draw.normal(size=len(e))
    return pd.DataFrame({"y": y + gap * (t == 1), "t": t, "b": b, "e": e})


def g_of(frame: pd.DataFrame) -> pd.Series:
    done = tk.analyze(frame, response="y", treatment="t", block="b", environment="e", control="0")
    table = done.effect_sizes
    return table[(table["kind"] == "hedges_g") & (table["treatment"] == "1")].iloc[0]


def test_hedges_g_across_is_the_difference_over_the_residual_standard_deviation():
    frame = across(1, 2.0)
    done = tk.analyze(frame, response="y", treatment="t", block="b", environment="e", control="0")
    degrees = 4 * 2 * 3  # environments x (blocks - 1) x (treatments - 1)
    assert done.model.extra["residual_df"] == pytest.approx(degrees, rel=1e-8)
    row = done.contrasts.set_index("treatment").loc["1"]
    d = row["estimate"] / np.sqrt(done.model.components["residual"])
    assert g_of(frame)["value"] == pytest.approx((1 - 3 / (4 * degrees - 1)) * d)


def test_interval_of_hedges_g_across_holds_the_truth():
    found = [g_of(across(seed, 2.0)) for seed in range(60)]
    held = np.mean([row["low"] <= 2.0 <= row["high"] for row in found])
    assert 0.85 < held <= 1  # 0.95 less 3.5 standard errors
