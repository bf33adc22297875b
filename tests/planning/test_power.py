"""Power against R (power.anova.test, power.t.test, pf) and statsmodels, and by simulation."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower

from trialkit.errors import AnalysisError
from trialkit.planning.power import (
    Components,
    TrialSize,
    power_of_difference,
    power_of_f,
    residual_df,
    smallest_detectable,
    standard_error,
    too_few,
)

FOLDER = Path(__file__).parents[1] / "reference" / "power"
R = pd.read_csv(FOLDER / "power.csv", comment="#", index_col="case")["value"]


def one_high(treatments: int) -> list[float]:
    return [0.0] * (treatments - 1) + [1.0]


@pytest.mark.parametrize("treatments", [3, 5])
@pytest.mark.parametrize("replicates", [3, 4, 8])
def test_f_test_of_a_random_layout_as_r(treatments, replicates):
    size = TrialSize(treatments, replicates, design="completely_randomised")
    found = power_of_f(one_high(treatments), 0.6, size)
    assert found == pytest.approx(R[f"crd_{treatments}_{replicates}"], rel=1e-8)


@pytest.mark.parametrize("blocks", [3, 4, 6])
def test_f_test_of_complete_blocks_as_r(blocks):
    found = power_of_f(one_high(5), 0.6, TrialSize(5, blocks))
    assert found == pytest.approx(R[f"blocks_5_{blocks}"], rel=1e-8)


def test_f_test_of_a_latin_square_as_r():
    found = power_of_f(one_high(5), 0.6, TrialSize(5, 5, design="latin_square"))
    assert found == pytest.approx(R["latin_5"], rel=1e-8)


def test_f_test_as_statsmodels():
    means = np.array([0.0, 0.4, 1.1])
    effect = means.std() / 0.7
    theirs = FTestAnovaPower().power(effect, nobs=15, alpha=0.05, k_groups=3)
    size = TrialSize(3, 5, design="completely_randomised")
    assert power_of_f(means, 0.7, size) == pytest.approx(theirs, rel=1e-8)


@pytest.mark.parametrize("replicates", [3, 6, 12])
def test_a_difference_of_two_groups_as_r(replicates):
    size = TrialSize(2, replicates, design="completely_randomised")
    found = power_of_difference(1.0, Components(0.8), size)
    assert found == pytest.approx(R[f"two_sample_t_{replicates}"], rel=1e-7)


def test_smallest_detectable_difference_as_r():
    size = TrialSize(2, 6, design="completely_randomised")
    found = smallest_detectable(Components(0.8), size)
    # R solves for delta to its own tolerance of about 1e-4
    assert found == pytest.approx(R["two_sample_delta_6"], rel=1e-4)


def test_smallest_detectable_difference_as_statsmodels():
    size = TrialSize(2, 9, design="completely_randomised")
    found = smallest_detectable(Components(1.0), size)
    assert TTestIndPower().power(found, nobs1=9, alpha=0.05) == pytest.approx(0.8, abs=1e-9)


def test_smallest_detectable_has_the_power_asked_for():
    parts, size = Components(0.15, 0.08), TrialSize(5, 4, sites=3, seasons=2)
    found = smallest_detectable(parts, size, power=0.9)
    assert power_of_difference(found, parts, size) == pytest.approx(0.9, abs=1e-8)


def test_five_treatments_in_three_blocks_leave_eight_and_are_warned_about():
    size = TrialSize(5, 3)
    assert residual_df(size) == 8
    assert "8 residual" in too_few(size)
    assert too_few(TrialSize(5, 4)) == ""


def test_the_standard_error_of_sites_and_seasons_adds_up_by_hand():
    """2 (s_ts²/S + s_ty²/Y + s_te²/SY + s²/SYr): 2 (.09/3 + .04/2 + .01/6 + .25/24) = .1241667."""
    parts = Components(0.5, 0.1, 0.3, 0.2)
    se, df = standard_error(parts, TrialSize(5, 4, sites=3, seasons=2))
    assert se**2 == pytest.approx(0.124166667, abs=1e-8)
    squares = np.array([0.29 + 8 * 0.09, 0.29 + 12 * 0.04, -0.29])
    by_hand = squares.sum() ** 2 / (squares**2 / (4 * np.array([2, 1, 2]))).sum()
    assert df == pytest.approx(by_hand)


def test_power_over_site_seasons_is_what_simulated_trials_give():
    parts, size, rng = (
        Components(0.2, 0.1),
        TrialSize(3, 4, sites=2, seasons=2),
        np.random.default_rng(3),
    )
    runs, t, e, r = 20_000, 3, 4, 4
    means = rng.normal(0, 0.1, (runs, t, e)) + rng.normal(0, 0.2 / np.sqrt(r), (runs, t, e))
    means[:, 1] += 0.25
    gaps = means - means.mean(axis=1, keepdims=True) - means.mean(axis=2, keepdims=True)
    gaps += means.mean(axis=(1, 2), keepdims=True)
    square = (gaps**2).sum(axis=(1, 2)) / ((t - 1) * (e - 1))
    statistic = (means[:, 1] - means[:, 0]).mean(axis=1) / np.sqrt(2 * square / e)
    share = (np.abs(statistic) > stats.t.ppf(0.975, (t - 1) * (e - 1))).mean()
    assert power_of_difference(0.25, parts, size) == pytest.approx(share, abs=0.012)


@pytest.mark.parametrize("wrong", [(0.0,), (-1.0,), (0.2, -0.1), (float("nan"),)])
def test_a_variance_that_is_not_positive_names_the_entry(wrong):
    with pytest.raises(AnalysisError, match=r"layout\.assumptions"):
        Components(*wrong)


def test_one_block_leaves_nothing_to_judge_by():
    with pytest.raises(AnalysisError, match="no residual degree of freedom"):
        residual_df(TrialSize(5, 1))


def test_sites_and_seasons_apart_need_two_of_each():
    with pytest.raises(AnalysisError, match="two sites and two seasons"):
        standard_error(Components(0.2, 0.1, 0.1), TrialSize(5, 4, sites=3, seasons=1))
