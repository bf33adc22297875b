"""Where one more environment is expected."""

import numpy as np
import pytest
from scipy import stats

from trialkit.inference.heterogeneity import Evidence, single, tau_squared, where_q_is
from trialkit.inference.prediction import around, predict

ONE = np.ones(1)


@pytest.mark.parametrize("number", [3, 6, 9, 18])
def test_without_doubt_within_environments_it_is_the_t_interval_of_one_more(number):
    values = np.random.default_rng(number).normal(size=number)
    low, high = predict(single(values, np.full(number, 1e-5))).interval(ONE, 0.95)
    reach = stats.t.ppf(0.975, number - 1) * values.std(ddof=1) * np.sqrt(1 + 1 / number)
    # The tails are those of 200 likely variances.
    assert (low, high) == pytest.approx((values.mean() - reach, values.mean() + reach), rel=5e-3)


def test_the_likely_variances_are_those_of_the_profile_of_q():
    evidence = single(np.array([-1.0, 0.2, 0.4, 1.5, 0.9]), np.full(5, 0.4))
    found = predict(evidence).tau2
    for place in (20, 100, 180):
        chance = (place + 0.5) / len(found)
        exact = where_q_is(evidence, float(stats.chi2.ppf(chance, 4)))
        assert found[place] == pytest.approx(exact, rel=1e-2, abs=1e-3)


def test_environments_that_agree_leave_room_for_some_variation():
    agreeing = single(np.array([0.0, 0.25, -0.25]), np.full(3, 0.3))
    assert tau_squared(agreeing, "REML") == 0
    low, high = predict(agreeing).interval(ONE, 0.95)
    assert high - low > 1.5 * 2 * stats.norm.ppf(0.975) * 0.3 * np.sqrt(1 / 3)


@pytest.mark.parametrize("number", [3, 9])
def test_it_holds_a_new_environment_as_often_as_it_says(number):
    # 150 studies; the chance of each is exact, and their spread about 0.1: 0.95 ± 0.03.
    rng, tau, se = np.random.default_rng(7), 0.5, 0.3
    chances = []
    for _ in range(150):
        values = rng.normal(0, np.hypot(tau, se), number)
        low, high = predict(single(values, np.full(number, se))).interval(ONE, 0.95)
        chances.append(stats.norm.cdf(high / tau) - stats.norm.cdf(low / tau))
    assert 0.92 <= np.mean(chances) <= 0.98


def test_ratios_that_share_a_variance_are_predicted_more_closely():
    rng = np.random.default_rng(3)
    y = rng.normal(size=(4, 3))
    small = np.broadcast_to(np.eye(3) * 1e-6, (4, 3, 3))
    eye = np.broadcast_to(np.eye(3), (4, 3, 3))
    both = predict(Evidence(((y, small, eye, eye),)))
    low, high = both.interval(np.array([1.0, 0, 0]), 0.95)
    pooled = np.sqrt(y.var(axis=0, ddof=1).mean() * (1 + 1 / 4))
    assert (high - low) / 2 == pytest.approx(stats.t.ppf(0.975, 9) * pooled, rel=5e-3)


def test_a_difference_adds_its_variance_between_environments():
    low, high = around(np.array([2.0]), np.array([0.3]), np.array([8.0]), 0.16, 0.95)
    assert (high - low) / 2 == pytest.approx(stats.t.ppf(0.975, 8) * 0.5)
