"""Families of comparisons: adjusted p values and the critical value of simultaneous intervals."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import special, stats

from trialkit.inference.multivariate_t import Comparisons, Pair, comparisons, critical, tail

METHODS = ("dunnett", "tukey", "holm", "none")
DF_DECIMALS = 9  # degrees of freedom closer than this differ by rounding alone
LSD_CAUTION = (
    "The comparisons are not adjusted for their number (protected least significant difference): "
    "read them only if the test of treatments as a whole found a difference, and expect about one "
    "in twenty to mislead."
)


@dataclass(frozen=True)
class Adjustment:
    """Adjusted p values (m,), critical values (m,) of the intervals, and the method in words."""

    p: np.ndarray
    critical: np.ndarray
    method: str


def adjust(
    t: np.ndarray, df: np.ndarray, means_covariance: np.ndarray, pairs: Sequence[Pair],
    *, how: str = "tukey", level: float | None = 0.95,
) -> Adjustment:  # fmt: skip
    """Adjust m comparisons of means for their number.

    t, df            : (m,) t statistics and degrees of freedom of the ``pairs`` (i, j).
    means_covariance : (k, k) up to a factor; it gives the correlations of the comparisons.
    how              : ``dunnett`` or ``tukey``: single step with the joint multivariate t
                       distribution, P(max |T| > |t|) (Dunnett 1955, J. Am. Stat. Assoc. 50:1096;
                       Tukey 1953; with equal variances the studentized range; unbalanced as in
                       Hothorn, Bretz & Westfall 2008, Biom. J. 50:346); ``holm``: Holm 1979,
                       Scand. J. Stat. 6:65, with Bonferroni intervals; ``none``: unadjusted.
    level            : coverage of the intervals; None where only p values are wanted, and the
                       critical values then are NaN.

    >>> done = adjust(np.array([2.0, 3.0]), np.array([8.0, 8.0]), np.eye(3), [(1, 0), (2, 0)])
    >>> done.p.round(3).tolist()
    [0.138, 0.031]
    """
    t, df = np.asarray(t, dtype=float), np.round(np.asarray(df, dtype=float), DF_DECIMALS)
    if how in ("none", "holm"):
        return _one_by_one(two_sided(t, df), df, how, level)
    family = comparisons(means_covariance, pairs)
    p = np.empty_like(t)
    for each in np.unique(df):
        p[df == each] = tail(np.abs(t[df == each]), family, float(each))
    reach = np.full(len(t), np.nan) if level is None else _critical_values(level, family, df)
    return Adjustment(p, reach, _words(how, family))


def _one_by_one(p: np.ndarray, df: np.ndarray, how: str, level: float | None) -> Adjustment:
    """Return the unadjusted comparisons, or Holm's, which know nothing of correlations."""
    share = 1 if how == "none" else len(p)
    reach = np.full(len(p), np.nan) if level is None else quantile((1 - level) / share, df)
    if how == "none":
        return Adjustment(p, reach, "not adjusted (least significant difference)")
    return Adjustment(holm(p), reach, "Holm's step-down p values with Bonferroni intervals")


def _words(how: str, family: Comparisons) -> str:
    equal = np.ptp(family.scale) < 1e-9 * family.scale.max()
    if how == "dunnett":
        return "Dunnett's comparisons with the check (multivariate t)"
    return "Tukey's studentized range" if equal else "all pairs by the multivariate t (unbalanced)"


def _critical_values(level: float, family: Comparisons, df: np.ndarray) -> np.ndarray:
    """Critical value for each df; where they are many, a parabola in 1/df through three of them."""
    distinct = np.unique(df)
    if len(distinct) <= 3:
        known = {d: critical(level, family, float(d)) for d in distinct}
        return np.array([known[d] for d in df])
    ends = 1 / distinct[[0, -1]]
    nodes = np.array([ends[0], ends.mean(), ends[1]])
    values = np.array([critical(level, family, float(1 / x)) for x in nodes])
    scaled = (1 / df - nodes[1]) / (nodes[0] - nodes[1])
    slope, bend = (values[0] - values[2]) / 2, (values[0] + values[2]) / 2 - values[1]
    return np.asarray(values[1] + slope * scaled + bend * scaled**2)


def two_sided(t: np.ndarray, df: np.ndarray) -> np.ndarray:
    """Two-sided p values of t statistics (normal where df is infinite)."""
    finite = np.isfinite(df)
    p = special.stdtr(np.where(finite, df, 1e9), -np.abs(t))
    return np.asarray(2 * np.where(finite, p, special.ndtr(-np.abs(t))))


def quantile(two_sided_miss: float, df: np.ndarray) -> np.ndarray:
    """Value that |t| passes with probability ``two_sided_miss``, for each df."""
    finite = np.isfinite(df)
    q = special.stdtrit(np.where(finite, df, 1e9), 1 - two_sided_miss / 2)
    return np.asarray(np.where(finite, q, special.ndtri(1 - two_sided_miss / 2)))


def holm(p: np.ndarray) -> np.ndarray:
    """Holm's step-down adjusted p values.

    >>> holm(np.array([0.01, 0.04, 0.03])).round(10).tolist()
    [0.03, 0.06, 0.06]
    """
    order = np.argsort(p, kind="stable")
    stepped = np.maximum.accumulate(p[order] * np.arange(len(p), 0, -1))
    adjusted = np.empty_like(stepped)
    adjusted[order] = np.minimum(1, stepped)
    return adjusted


def sidak(p: np.ndarray, family_size: int) -> np.ndarray:
    """Šidák's adjusted p values, 1 - (1 - p)^m, valid for two-sided t tests however correlated.

    Šidák 1967, J. Am. Stat. Assoc. 62:626.

    >>> sidak(np.array([0.01]), 3).round(6).tolist()
    [0.029701]
    """
    return np.asarray(-np.expm1(family_size * np.log1p(-np.minimum(p, 1 - 1e-16))))


def false_discovery(p: np.ndarray) -> np.ndarray:
    """Benjamini and Hochberg's adjusted p values over a family of measures.

    Declaring those at most q keeps the expected share of false declarations at most q for
    independent or positively dependent tests (Benjamini & Hochberg 1995, J. R. Stat. Soc. B
    57:289). NaN stays NaN and does not count.

    >>> false_discovery(np.array([0.01, 0.04, 0.03, np.nan])).round(10).tolist()
    [0.03, 0.04, 0.04, nan]
    """
    p = np.asarray(p, dtype=float)
    adjusted = np.full(p.shape, np.nan)
    known = np.isfinite(p)
    if known.any():
        adjusted[known] = stats.false_discovery_control(p[known])
    return adjusted
