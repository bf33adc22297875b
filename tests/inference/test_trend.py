"""A trend over few places: the permutation test against every order written out."""

from itertools import permutations

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.inference.trend import permutation_trend


@pytest.mark.parametrize("seed", range(4))
def test_p_is_the_share_of_all_orders_that_correlate_as_much(seed):
    random = np.random.default_rng(seed)
    x, y = random.normal(size=6), random.normal(size=6)
    every = [abs(np.corrcoef(x, order)[0, 1]) for order in permutations(y)]
    seen = abs(np.corrcoef(x, y)[0, 1])
    found = permutation_trend(x, y)
    assert found.exact
    assert found.p == pytest.approx(np.mean(np.array(every) >= seen - 1e-12), abs=1e-12)


def test_slope_and_correlation_are_those_of_least_squares():
    x, y = np.array([1.0, 3, 4, 7, 9]), np.array([2.0, 1, 5, 6, 4])
    line = stats.linregress(x, y)
    found = permutation_trend(x, y)
    assert (found.slope, found.correlation) == pytest.approx((line.slope, line.rvalue))


def test_many_places_take_random_orders_the_same_for_the_same_seed():
    random = np.random.default_rng(1)
    x = random.normal(size=12)
    y = x + random.normal(size=12)
    found = permutation_trend(x, y, seed=3)
    assert not found.exact
    assert found == permutation_trend(x, y, seed=3)
    assert found.p == pytest.approx(stats.pearsonr(x, y).pvalue, abs=0.02)


def test_places_without_a_number_are_left_out():
    x, y = np.array([1.0, 2, 3, 4, np.nan]), np.array([1.0, 3, 2, 4, 9])
    assert permutation_trend(x, y).n == 4


def test_too_few_places_or_no_difference_say_so():
    with pytest.raises(AnalysisError, match="at least 4 places"):
        permutation_trend(np.arange(3.0), np.arange(3.0))
    with pytest.raises(AnalysisError, match="do not differ"):
        permutation_trend(np.ones(5), np.arange(5.0))
