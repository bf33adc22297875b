"""The doubt about yields carried into money: intervals of returns, chance of beating the check.

The fitted means of k treatments are taken as m + L z / s, z standard normal, L L' their covariance,
s² = chi-square / df: the t distribution that their confidence intervals rest on. A place not yet
tried adds its own deviation, with the variance of treatment x environment once for each treatment
(so twice for a difference). That variance is itself estimated from few places; it is divided by the
same s², which is an approximation. Prices and costs are taken as known.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
from scipy import stats

from trialkit.inference.estimates import MarginalMeans

DF_DIGITS: Final = 12


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
    drawn = Drawing(runs, len(means.treatments), seed, new_place is not None)
    standard = _standard(drawn)
    normal = standard.treatments @ _root(means.covariance).T
    if new_place is not None:
        normal = normal + standard.elsewhere * np.sqrt(max(new_place.treatment_environment, 0.0))
    level = standard.level * _level(new_place)
    centre = money(means.estimate[None, :])
    slope = money(means.estimate[None, :] + 1.0) - centre
    own = (normal + level) / _scale(drawn, means.df)
    apart = (normal - normal[:, :1]) / _scale(drawn, means.pair_df[:, 0])
    apart[:, 0] = 0.0
    return Draws(centre + slope * own, centre - centre[:, :1] + slope * apart)


@dataclass(frozen=True)
class Drawing:
    """How random numbers are drawn: so many runs of k treatments, and whether elsewhere as well."""

    runs: int
    k: int
    seed: int
    elsewhere: bool


@dataclass(frozen=True)
class _Standard:
    """Standard normal numbers (runs, k) and (runs, 1), and uniform ones (runs,)."""

    treatments: np.ndarray
    elsewhere: np.ndarray
    level: np.ndarray
    share: np.ndarray


@lru_cache(maxsize=2)
def _standard(drawn: Drawing) -> _Standard:
    """Draw once what all places share: the same seed draws the same numbers at each of them."""
    random, shape = np.random.default_rng(drawn.seed), (drawn.runs, drawn.k)
    treatments = random.standard_normal(shape)
    elsewhere = random.standard_normal(shape) if drawn.elsewhere else np.empty(0)
    level = random.standard_normal((drawn.runs, 1))
    return _Standard(treatments, elsewhere, level, random.random(drawn.runs))


def _level(place: Spread | None) -> float:
    return 0.0 if place is None else float(np.sqrt(max(place.environment, 0.0)))


def _root(covariance: np.ndarray) -> np.ndarray:
    """Return the symmetric root, of which there is one only.

    Equal variances of treatments leave the eigenvectors free; draws must not hang on which of them
    a machine happens to find.
    """
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.clip(values, 0.0, None))) @ vectors.T)


def _scale(drawn: Drawing, df: np.ndarray) -> np.ndarray:
    """s of every run (runs, k), from one uniform number a run; 1 where df is infinite or unknown.

    Treatments of a balanced trial share their df, up to rounding, and so do places of one layout.
    """
    known = np.isfinite(df) & (df > 0)
    one = np.ones(drawn.runs)
    shared = [float(f"{d:.{DF_DIGITS}g}") for d in df]
    each = [_share_scale(drawn, d) if k else one for d, k in zip(shared, known, strict=True)]
    return np.stack(each, axis=1)


@lru_cache(maxsize=8)
def _share_scale(drawn: Drawing, df: float) -> np.ndarray:
    """Square root of a chi-square over its df, (runs,); each quantile takes long to compute."""
    return np.asarray(np.sqrt(stats.chi2.ppf(_standard(drawn).share, df) / df))


def chance_of_gain(draws: Draws) -> np.ndarray:
    """Share of runs in which each treatment returns more than the check; NaN for the check."""
    chance = (draws.gain > 0).mean(axis=0)
    chance[0] = np.nan
    return np.asarray(chance)


def interval(values: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Lower and upper ends that hold the middle ``level`` of the runs, treatment by treatment."""
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return low, high


def closed_form(gain: np.ndarray, se: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Chance of a gain above zero where it is normal (df infinite) or t around its estimate.

    Without any doubt (``se`` 0) the chance is 0 or 1.

    >>> closed_form(np.array([30.0, 30.0]), np.array([20.0, 0.0]), np.array([np.inf, 4])).round(4)
    array([0.9332, 1.    ])
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(se == 0, gain > 0, stats.t.cdf(gain / se, df))


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
