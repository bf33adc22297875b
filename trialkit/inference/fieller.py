"""Ratios of two normal means, after Fieller: the interval may be open, and then says so."""

from dataclasses import dataclass

import numpy as np

from trialkit.inference.effect import Effect

OPEN = (
    "The check's mean is not clearly different from zero, so the data set no limits to a relative "
    "change. Use the difference in units instead."
)
NO_RATIO = "A mean is not above zero, so a ratio has no meaning. Use the difference in units."


@dataclass(frozen=True)
class Ratio:
    """A ratio of means with Fieller's limits; NaN where the limits are open."""

    value: float
    low: float
    high: float


def ratio_interval(means: tuple[float, float], covariance: np.ndarray, t: float) -> Ratio:
    """Return m_1 / m_2 with the limits ρ that solve (m_1 - ρ m_2)² = t² Var(m_1 - ρ m_2).

    means (m_1, m_2) with ``covariance`` (2, 2); t is the critical value. Where m_2 is within t
    standard errors of zero the limits are open and come back as NaN (Fieller 1954, J. R. Stat.
    Soc. B 16:175).

    >>> found = ratio_interval((6.0, 4.0), np.eye(2) * 0.04, 2.0)
    >>> [round(x, 4) for x in (found.value, found.low, found.high)]
    [1.5, 1.3333, 1.697]
    """
    m1, m2 = means
    a = m2**2 - t**2 * covariance[1, 1]
    b = m1 * m2 - t**2 * covariance[0, 1]
    c = m1**2 - t**2 * covariance[0, 0]
    value = m1 / m2 if m2 != 0 else np.nan
    if a <= 0:
        return Ratio(value, np.nan, np.nan)
    half = float(np.sqrt(max(b**2 - a * c, 0.0)))
    return Ratio(value, float((b - half) / a), float((b + half) / a))


def percent_change(ratio: Ratio) -> Effect:
    """Return 100 (ratio - 1) with its limits, or the reason why there are none."""
    note = OPEN if np.isnan(ratio.low) else ""
    return Effect(100 * (ratio.value - 1), 100 * (ratio.low - 1), 100 * (ratio.high - 1), note)


def log_response_ratio(ratio: Ratio) -> Effect:
    """Return the logarithm of the ratio (Hedges, Gurevitch & Curtis 1999, Ecology 80:1150)."""
    if not ratio.value > 0:
        return Effect(np.nan, np.nan, np.nan, NO_RATIO)
    if np.isnan(ratio.low):
        return Effect(float(np.log(ratio.value)), np.nan, np.nan, OPEN)
    if ratio.low <= 0:
        note = (
            "The lower limit of the ratio is not above zero, so its logarithm is unlimited below."
        )
        return Effect(float(np.log(ratio.value)), np.nan, float(np.log(ratio.high)), note)
    value, low, high = (float(np.log(x)) for x in (ratio.value, ratio.low, ratio.high))
    return Effect(value, low, high)
