"""Clumping of counts and shares from plots: known truth, R's moments, and statsmodels."""

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from trialkit.inference.design import make_design
from trialkit.planning.spread import LEAST, spread_of

LAYOUT = pd.DataFrame(
    [(str(b), t) for b in range(4) for t in ("check", "a", "b", "c", "d")],
    columns=["block", "treatment"],
)


def design(values: np.ndarray, trials: int = 0):
    frame = LAYOUT.assign(y=values, trials=trials)
    more = {"family": "proportion", "trials": "trials"} if trials else {"family": "count"}
    names = {"treatment": "treatment", "block": "block", "control": "check"}
    return make_design(frame, response="y", **names, **more)


def expected(rng) -> np.ndarray:
    effect = np.exp(rng.normal(0, 0.2, 4))[:, None] * np.array([1, 0.7, 0.9, 1.2, 0.5])
    return effect.ravel()


def counts(k: float, places: int, seed: int = 1) -> list:
    rng = np.random.default_rng(seed)
    means = [60 * expected(rng) for _ in range(places)]
    return [design(rng.poisson(m * rng.gamma(k, 1 / k, 20)).astype(float)) for m in means]


@pytest.mark.parametrize("k", [3.0, 12.0])
def test_the_clumping_of_simulated_counts_comes_back(k):
    found = spread_of(counts(k, 300))
    assert 1 / found.clumping == pytest.approx(k, rel=0.12)
    assert found.df == 300 * 12


def test_counts_by_chance_alone_are_not_clumped():
    found = spread_of(counts(1e9, 200))
    assert found.clumping < 0.002


def test_counts_more_alike_than_chance_get_the_least_clumping():
    assert spread_of([design(np.tile([50.0, 51.0], 10))]).clumping == LEAST


def test_the_moment_equation_holds_with_the_means_of_statsmodels():
    """Pearson's sum at the k found, over statsmodels' Poisson means, is the degrees of freedom."""
    (one,) = counts(4.0, 1, seed=3)
    found = spread_of([one])
    dummies = pd.get_dummies(one.frame[["block", "treatment"]].astype(str), drop_first=True)
    matrix = sm.add_constant(dummies.astype(float))
    y = one.frame["response"].to_numpy()
    mean = sm.GLM(y, matrix, family=sm.families.Poisson()).fit().mu
    assert ((y - mean) ** 2 / (mean + found.clumping * mean**2)).sum() == pytest.approx(12)
    assert found.check_mean == pytest.approx(y[one.frame["treatment"] == "check"].mean())


@pytest.mark.parametrize(("check", "low", "high"), [(0.4, 0.94, 1.06), (0.2, 0.85, 1.0)])
def test_the_correlation_of_simulated_shares_comes_back(check, low, high):
    """Moments around fitted means come out a little low where shares are small; see spread_of."""
    rng, rho, n = np.random.default_rng(4), 0.05, 80
    size, designs = 1 / rho - 1, []
    for _ in range(200):
        odds = check / (1 - check) * expected(rng)
        share = rng.beta(odds / (1 + odds) * size, 1 / (1 + odds) * size)
        designs.append(design(rng.binomial(n, share).astype(float), n))
    found = spread_of(designs)
    assert low * rho < found.clumping < high * rho
    assert found.trials == n
    assert found.check_mean == pytest.approx(check, abs=0.03)


def test_a_check_without_any_insect_tells_nothing():
    values = np.where(LAYOUT["treatment"] == "check", 0.0, 5.0)
    assert spread_of([design(values + (values > 0) * np.arange(20) % 3)]) is None
