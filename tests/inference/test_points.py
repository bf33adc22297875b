"""Percentage points with the check's own share in doubt."""

import numpy as np
import pytest
from scipy.special import expit, logit

from trialkit.inference.points import points_interval

ESTIMATE, SHIFTS = np.array([-1.8, -0.9]), np.array([-0.5, 0.1, 0.4])
COVARIANCE = np.array([[0.09, 0.02], [0.02, 0.06]])


def difference(first, second):
    shares = expit(np.add.outer(SHIFTS, first)) - expit(np.add.outer(SHIFTS, second))
    return shares.mean(axis=0)


def test_limits_are_the_extremes_of_a_fine_grid_of_means():
    found = points_interval(ESTIMATE, COVARIANCE, SHIFTS, 2.3)
    grid = np.linspace(-1.5, 1.5, 801)
    first, second = (a.ravel() for a in np.meshgrid(ESTIMATE[0] + grid, ESTIMATE[1] + grid))
    away = np.column_stack([first, second]) - ESTIMATE
    inside = np.einsum("ni,ij,nj->n", away, np.linalg.inv(COVARIANCE), away) <= 2.3**2
    values = difference(first[inside], second[inside])
    assert found.value == pytest.approx(difference(*ESTIMATE))
    assert found.low == pytest.approx(values.min(), abs=1e-4)
    assert found.high == pytest.approx(values.max(), abs=1e-4)


@pytest.mark.parametrize("slack", [-1e-6, 1e-6])
def test_zero_is_left_out_exactly_where_the_odds_ratio_leaves_it_out(slack):
    gap = ESTIMATE[0] - ESTIMATE[1]
    se = np.sqrt(COVARIANCE[0, 0] + COVARIANCE[1, 1] - 2 * COVARIANCE[0, 1])
    found = points_interval(ESTIMATE, COVARIANCE, SHIFTS, abs(gap) / se * (1 + slack))
    assert (found.high < 0) == (slack < 0)


def test_large_samples_give_the_interval_of_two_independent_shares():
    shares, n = np.array([0.3, 0.4]), 1e6
    spread = np.diag(1 / (n * shares * (1 - shares)))
    found = points_interval(logit(shares), spread, np.zeros(1), 1.96)
    half = 1.96 * np.sqrt((shares * (1 - shares) / n).sum())
    assert (found.low, found.high) == pytest.approx((-0.1 - half, -0.1 + half), abs=1e-6)


def test_exchanging_the_two_turns_the_interval_round():
    one = points_interval(ESTIMATE, COVARIANCE, SHIFTS, 2.0)
    other = points_interval(ESTIMATE[::-1], COVARIANCE[::-1, ::-1], SHIFTS, 2.0)
    assert (other.low, other.high) == pytest.approx((-one.high, -one.low), abs=1e-12)
