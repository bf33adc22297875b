"""Dispersion by moments, and standard errors under it."""

import numpy as np
import pytest

from trialkit.inference import dispersion, glm
from trialkit.inference.families import Binomial, Poisson

RNG = np.random.default_rng(5)


def one_mean(counts: np.ndarray) -> glm.GlmFit:
    return glm.fit(Poisson(), np.ones((counts.shape[1], 1)), counts, np.ones(counts.shape[1]))


def test_clumping_of_many_plots_is_one_over_k():
    counts = RNG.poisson(RNG.gamma(2.0, 8 / 2.0, (1, 40_000))).astype(float)
    found = dispersion.estimate(Poisson(), counts, one_mean(counts), np.ones(40_000), 39_999)
    assert found.clumping[0] == pytest.approx(1 / 2, rel=0.05)


def test_correlation_of_many_plots_is_that_of_the_beta_binomial():
    size, rho = np.full(20_000, 30.0), 0.1
    events = RNG.binomial(30, RNG.beta(0.3 * 9, 0.7 * 9, (1, 20_000))).astype(float)
    fitted = glm.fit(Binomial(), np.ones((20_000, 1)), events, size)
    found = dispersion.estimate(Binomial(), events, fitted, size, 19_999)
    assert found.clumping[0] == pytest.approx(rho, rel=0.05)


def test_pearsons_sum_at_the_estimate_is_its_degrees_of_freedom():
    counts = np.array([[2.0, 11, 4, 7, 0, 15]])
    fitted = one_mean(counts)
    found = dispersion.estimate(Poisson(), counts, fitted, np.ones(6), 5)
    m = fitted.mean
    total = ((counts - m) ** 2 / (m * (1 + found.clumping[0] * m))).sum()
    assert total == pytest.approx(5, rel=1e-9)


def test_a_perfect_fit_by_accident_keeps_some_dispersion():
    counts = np.full((1, 6), 4.0)
    found = dispersion.estimate(Poisson(), counts, one_mean(counts), np.ones(6), 5)
    assert found.clumping[0] == 0
    assert 0.05 < found.phi[0] < 0.2


def test_insect_days_in_other_units_give_the_same_standard_errors():
    days = RNG.gamma(2, 30, (1, 8))
    groups = np.ones((8, 1))
    variance = []
    for unit in (1.0, 24.0):
        fitted = one_mean(days * unit)
        found = dispersion.estimate(Poisson(), days * unit, fitted, np.ones(8), 7, whole=False)
        variance.append(dispersion.covariance(Poisson(), groups, fitted, np.ones(8), found, groups))
    assert variance[0] == pytest.approx(variance[1], rel=1e-7)


def test_two_plain_poisson_totals_have_the_variance_of_their_raised_totals():
    counts, groups = np.array([[3.0, 5, 9, 7]]), np.repeat(np.eye(2), 2, axis=0)
    fitted = glm.fit(Poisson(), groups, counts, np.ones(4))
    found = dispersion.Dispersion(np.ones(1), np.zeros(1), np.ones(1), 2)
    V = dispersion.covariance(Poisson(), groups, fitted, np.ones(4), found, groups)[0]
    assert np.diag(V) == pytest.approx([1 / 9, 1 / 17])


def test_a_logarithm_of_a_clumped_total_varies_nearly_as_that_of_a_gamma_variable():
    counts, groups = np.full((1, 8), 1e6), np.repeat(np.eye(2), 4, axis=0)
    fitted = glm.fit(Poisson(), groups, counts, np.ones(8))
    found = dispersion.Dispersion(np.ones(1), np.full(1, 1.25), np.ones(1), 6)
    V = dispersion.covariance(Poisson(), groups, fitted, np.ones(8), found, groups)[0]
    drawn = np.log(np.random.default_rng(2).gamma(4 / 1.25, 1.0, 400_000))
    # Four plots of k = 0.8 and a million insects, of which the delta method says 0.3125. Totals
    # are raised, so the rest is made up for the greater part.
    assert (0.3125 + drawn.var()) / 2 < V[0, 0] < drawn.var()
    assert V[1, 1] == pytest.approx(V[0, 0])


def test_a_logit_of_a_clumped_share_varies_nearly_as_that_of_a_beta_variable():
    size, groups = np.full(4, 1e6), np.ones((4, 1))
    fitted = glm.fit(Binomial(), groups, np.full((1, 4), 2e5), size)
    found = dispersion.Dispersion(np.ones(1), np.full(1, 0.5), np.ones(1), 3)
    V = dispersion.covariance(Binomial(), groups, fitted, size, found, groups)[0]
    drawn = np.random.default_rng(3).beta(0.2 * 8, 0.8 * 8, 400_000)
    delta, exact = 0.5 / (4 * 0.2 * 0.8), np.log(drawn / (1 - drawn)).var()
    assert (delta + exact) / 2 < V[0, 0] < exact


def test_clumping_is_less_biased_with_the_expectation_of_the_fit_itself():
    # k = 10 in six blocks, the best with eleven times the insects of the poorest.
    rng = np.random.default_rng(4)
    blocks, treatments = np.repeat(np.arange(6), 5), np.tile(np.arange(5), 6)
    matrix = np.column_stack([np.eye(5)[treatments], np.vstack([np.eye(5), -np.ones(5)])[blocks]])
    shift = np.array([-1.2, -0.8, -0.2, 0.2, 0.8, 1.2])[blocks]
    mean = 60 * np.array([1, 0.1, 0.5, 1, 0.75])[treatments] * np.exp(shift)
    counts = rng.poisson(rng.gamma(10, mean / 10, (1000, 30))).astype(float)
    fitted = glm.fit(Poisson(), matrix, counts, np.ones(30))
    plain, exact = (
        dispersion.estimate(Poisson(), counts, fitted, np.ones(30), 20, matrix=m).clumping.mean()
        for m in (None, matrix)
    )
    assert exact == pytest.approx(0.1, rel=0.07)
    assert plain > 0.115
