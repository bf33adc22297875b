"""Bounds hold by their definition: beyond them, finding nothing has less than the stated chance."""

import numpy as np
import pytest
from scipy import stats

from trialkit.inference import bounds
from trialkit.inference.families import Binomial, Poisson

ONE = np.ones(4)


@pytest.mark.parametrize("total", [3, 10, 60])
def test_poisson_counts_have_the_exact_conditional_bound(total):
    other = bounds.Reference(bounds.relative_odds(total, np.inf, 1 / total))
    high, at_one = bounds.upper(Poisson(), np.full(4, np.log(total / 4)), ONE, other, 0.95)
    assert np.exp(high) == pytest.approx(0.05 ** (-1 / total) - 1, rel=0.02)
    assert at_one == pytest.approx(0.5**total, rel=0.2)


def test_the_chi_square_profile_bound_would_leave_a_chance_far_above_its_own():
    # -2 log likelihood rises by 2 * total * log(1 + ratio): 95 % two-sided chi-square is 3.84.
    chance = np.exp(-stats.chi2.ppf(0.95, 1) / 2)
    assert chance == pytest.approx(0.147, abs=0.001)
    assert np.exp(-stats.chi2.ppf(0.90, 1) / 2) == pytest.approx(0.26, abs=0.002)


def test_nothing_in_clumped_counts_is_the_zero_term_of_the_negative_binomial():
    chance = bounds.chance_of_none(Poisson(), 3.0 * ONE, ONE, 1.0, clumping=1 / 1.5)
    assert chance == pytest.approx(stats.nbinom.pmf(0, 1.5, 1.5 / 4.5) ** 4, rel=1e-9)


def test_nothing_in_alike_plots_is_the_zero_term_of_the_beta_binomial():
    rho, share = 0.1, 0.2
    both = (1 - rho) / rho
    expected = stats.betabinom.pmf(0, 30, share * both, (1 - share) * both) ** 4
    chance = bounds.chance_of_none(Binomial(), 30 * share * ONE, 30 * ONE, 1.0, clumping=rho)
    assert chance == pytest.approx(expected, rel=1e-9)


def test_a_trace_of_correlation_is_no_different_from_none():
    ends = [bounds.chance_of_none(Binomial(), 8 * ONE, 400 * ONE, 1.0, rho) for rho in (0.0, 2e-6)]
    assert ends[1] == pytest.approx(ends[0], rel=0.02)


def test_independent_trials_have_the_plain_binomial_bound():
    high, _ = bounds.upper(Binomial(), np.zeros(4), 25 * ONE, bounds.Reference(ONE[:1]), 0.95)
    share = 1 / (1 + np.exp(-high))
    assert (1 - share) ** 100 == pytest.approx(0.05, rel=1e-6)


@pytest.mark.parametrize("clumping", [0.0, 0.5, 2.0])
def test_more_clumping_gives_a_wider_bound(clumping):
    ends = [bounds.upper(Poisson(), ONE, ONE, bounds.Reference(ONE[:1], 1.0, a), 0.95)[0]
            for a in (clumping, clumping + 0.5)]  # fmt: skip
    assert ends[0] < ends[1]


def test_hardly_any_information_on_the_other_side_still_gives_a_number():
    odds = bounds.relative_odds(1, np.inf, variance=60.0)
    high, at_one = bounds.upper(Poisson(), 0 * ONE, ONE, bounds.Reference(odds), 0.95)
    assert high > 0
    assert 0.05 < at_one < 1
