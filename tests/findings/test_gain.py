"""Chances of a gain: the simulation against the closed form for normal and t errors."""

import numpy as np
import pytest
from scipy import stats

from tests.findings.money import means_of
from trialkit.findings import gain

RUNS = 100_000
COST = np.array([0.0, 30.0])


def money(yields):
    return 100 * yields - COST


@pytest.mark.parametrize("df", [np.inf, 6.0, 20.0])
def test_the_chance_is_that_of_the_closed_form(df):
    draws = gain.simulate(means_of([2.0, 2.5], 0.2, df), money, runs=RUNS, seed=4)
    expected = float(gain.closed_form(20.0, 100 * np.sqrt(2) * 0.2, df))
    error = 4 * np.sqrt(expected * (1 - expected) / RUNS)
    assert gain.chance_of_gain(draws)[1] == pytest.approx(expected, abs=error)


def test_the_interval_of_a_gain_is_the_confidence_interval_of_the_difference():
    draws = gain.simulate(means_of([2.0, 2.5], 0.2, 8.0), money, runs=RUNS, seed=5)
    low, high = gain.interval(draws.gain, 0.95)
    half = stats.t.ppf(0.975, 8) * 100 * np.sqrt(2) * 0.2
    assert [low[1], high[1]] == pytest.approx([20 - half, 20 + half], rel=0.03)


def test_a_place_not_yet_tried_is_less_sure_by_its_own_variance():
    means, place = means_of([2.0, 2.5], 0.1), gain.Spread(0.5, 0.04)
    draws = gain.simulate(means, money, runs=RUNS, seed=6, new_place=place)
    expected = stats.norm.cdf(20 / (100 * np.sqrt(2 * 0.01 + 2 * 0.04)))
    assert gain.chance_of_gain(draws)[1] == pytest.approx(expected, abs=0.006)
    assert draws.net[:, 0].std() == pytest.approx(100 * np.sqrt(0.01 + 0.04 + 0.5), rel=0.02)


def test_shared_errors_cancel_in_the_gain_and_the_same_seed_gives_the_same_draws():
    means = means_of([2.0, 2.5], 0.1)
    object.__setattr__(means, "covariance", np.full((2, 2), 0.04))
    first = gain.simulate(means, money, runs=500, seed=7)
    assert first.gain[:, 1] == pytest.approx(np.full(500, 20.0))
    again = gain.simulate(means, money, runs=500, seed=7)
    np.testing.assert_array_equal(first.net, again.net)


@pytest.mark.parametrize(
    ("ends", "word"),
    [((1, 9), "pays"), ((-9, -1), "does not pay"), ((-1, 9), "not settled")],
)
def test_the_word_comes_from_the_interval_alone(ends, word):
    assert gain.pays(*ends) == word


def test_draws_do_not_hang_on_the_eigenvectors_that_a_machine_finds():
    """Equal variances leave the eigenvectors free: any turned set of them gives the same root."""
    covariance = np.full((4, 4), 0.1) + 0.3 * np.eye(4)
    root = gain._root(covariance)
    np.testing.assert_allclose(root, root.T, atol=1e-14)
    np.testing.assert_allclose(root @ root, covariance, atol=1e-14)


def test_a_seed_gives_the_same_draws_whatever_was_drawn_before():
    means, place = means_of([2.0, 2.5], 0.2, 6.0), gain.Spread(0.5, 0.04)

    def draw(seed, new_place=None):
        return gain.simulate(means, money, runs=500, seed=seed, new_place=new_place)

    here, elsewhere, other = draw(1), draw(1, place), draw(2)
    np.testing.assert_array_equal(draw(1).net, here.net)
    np.testing.assert_array_equal(draw(1, place).net, elsewhere.net)
    assert not np.array_equal(here.net, other.net)
    assert not np.array_equal(here.net, elsewhere.net)
