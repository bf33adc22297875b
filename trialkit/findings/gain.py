"""The doubt about yields carried into money: intervals of returns, chance of beating the check.

The fitted means of k treatments are taken as m + L z / s, z standard normal, L L' their covariance,
s² = chi-square / df: the t distribution that their confidence intervals rest on. A place not yet
tried adds its own deviation, with the variance of treatment x environment once for each treatment
(so twice for a difference). That variance is itself estimated from few places; it is divided by the
same s², which is an approximation. Prices and costs are taken as known.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from trialkit.inference.estimates import MarginalMeans

SURE: Final = 0.95


@dataclass(frozen=True)
class Draws:
    """Simulated net returns per field area: ``net`` and ``gain`` over the check, (runs, k)."""

    net: np.ndarray
    gain: np.ndarray


@dataclass(frozen=True)
class Spread:
    """Variances between places, of the level and of treatment x environment (response squared)."""

    environment: float = 0.0
    treatment_environment: float = 0.0


def simulate(
    means: MarginalMeans,
    money: Callable[[np.ndarray], np.ndarray],
    *,
    runs: int,
    seed: int,
    new_place: Spread | None = None,
) -> Draws:
    """Simulate net returns of every treatment, the first of ``means`` being the check.

    ``money`` turns yields (runs, k) on the response scale into net returns; it must be linear.
    With ``new_place`` the returns are those of a place not yet tried, else of the places behind
    the means. The same seed gives the same draws.

    >>> means = MarginalMeans(("check", "net"), np.array([2.0, 2.5]), np.eye(2) * 0.02,
    ...                       np.full(2, np.inf), np.full((2, 2), np.inf), "identity",
    ...                       np.array([4, 4]))
    >>> done = simulate(means, lambda y: 100 * y - np.array([0.0, 20.0]), runs=50_000, seed=1)
    >>> round(float(chance_of_gain(done)[1]), 2)                 # Phi(30 / 20)
    0.93
    """
    random = np.random.default_rng(seed)
    k = len(means.treatments)
    normal = random.standard_normal((runs, k)) @ _root(means.covariance).T
    if new_place is not None:
        normal = normal + random.standard_normal((runs, k)) * np.sqrt(
            max(new_place.treatment_environment, 0.0)
        )
    level = random.standard_normal((runs, 1)) * _level(new_place)
    share = random.random((runs, 1))
    centre = money(means.estimate[None, :])
    slope = money(means.estimate[None, :] + 1.0) - centre
    own = (normal + level) / _scale(share, means.df)
    apart = (normal - normal[:, :1]) / _scale(share, means.pair_df[:, 0])
    apart[:, 0] = 0.0
    return Draws(centre + slope * own, centre - centre[:, :1] + slope * apart)


def _level(place: Spread | None) -> float:
    return 0.0 if place is None else float(np.sqrt(max(place.environment, 0.0)))


def _root(covariance: np.ndarray) -> np.ndarray:
    """Return the symmetric root, of which there is one only.

    Equal variances of treatments leave the eigenvectors free; draws must not hang on which of them
    a machine happens to find.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)


def _scale(share: np.ndarray, df: np.ndarray) -> np.ndarray:
    """s of every run (runs, k) from one uniform number a run; 1 where df is infinite or unknown."""
    known = np.where(np.isfinite(df) & (df > 0), df, 1.0)
    # Treatments of a balanced trial share their df, and each quantile takes long to compute.
    distinct, which = np.unique(known, return_inverse=True)
    each = np.sqrt(stats.chi2.ppf(share, distinct[None, :]) / distinct[None, :])
    scale = each[:, which]
    return np.where(np.isfinite(df)[None, :] & (df > 0)[None, :], scale, 1.0)


def chance_of_gain(draws: Draws) -> np.ndarray:
    """Share of runs in which each treatment returns more than the check; NaN for the check."""
    chance = (draws.gain > 0).mean(axis=0)
    chance[0] = np.nan
    return np.asarray(chance)


def interval(values: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper ends that hold the middle ``level`` of the runs, treatment by treatment."""
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return low, high


def closed_form(gain: float, se: float, df: float) -> float:
    """Chance of a gain above zero where the gain is normal (df infinite) or t around its estimate.

    >>> round(closed_form(30.0, 20.0, np.inf), 4)
    0.9332
    """
    return float(stats.t.cdf(gain / se, df))


def pays(gain_low: float, gain_high: float) -> str:
    """Word for the interval of a treatment's gain over the check.

    >>> pays(20.0, 90.0), pays(-50.0, -5.0), pays(-10.0, 60.0), pays(float("nan"), float("nan"))
    ('pays', 'does not pay', 'not settled', 'not known')
    """
    if np.isnan(gain_low) or np.isnan(gain_high):
        return "not known"
    if gain_low > 0:
        return "pays"
    return "does not pay" if gain_high < 0 else "not settled"
