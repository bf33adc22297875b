"""Against the smallest worthwhile difference: verdicts, and two one-sided tests."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from trialkit.errors import AnalysisError

Verdict = Literal["worthwhile", "some effect", "no worthwhile difference", "not settled"]


def verdict_of(
    low: float | None, high: float | None, margin: float | tuple[float, float], *, null: float = 0.0
) -> Verdict:
    """Return what an interval says against the smallest worthwhile difference.

    low, high : ends of the confidence interval; an end may be infinite, unknown is None or NaN.
    margin    : smallest worthwhile distance from ``null`` in either direction, or the two limits
                (lower, upper) themselves, as for ratios: ``margin=(0.8, 1.25), null=1``.
    worthwhile: all of the interval beyond a limit; some effect: it excludes ``null`` but not the
    limit; no worthwhile difference: it lies inside the limits; not settled: anything else.
    Raises AnalysisError for limits that do not enclose ``null``.

    >>> [verdict_of(*ends, margin=2.0) for ends in [(2.5, 6), (0.5, 6), (-1, 6)]]
    ['worthwhile', 'some effect', 'not settled']
    >>> verdict_of(0.5, 1.5, margin=2.0)
    'no worthwhile difference'
    """
    lower, upper = limits_of(margin, null)
    if low is None or high is None or np.isnan(low) or np.isnan(high):
        return "not settled"
    if low > upper or high < lower:
        return "worthwhile"
    if lower < low and high < upper:
        return "no worthwhile difference"
    return "some effect" if low > null or high < null else "not settled"


def limits_of(margin: float | tuple[float, float], null: float) -> tuple[float, float]:
    """Return the limits (lower, upper); raise AnalysisError if ``null`` is not between them."""
    lower, upper = margin if isinstance(margin, tuple) else (null - margin, null + margin)
    if not lower <= null <= upper:
        raise AnalysisError(
            f"The margin {margin} does not enclose {null:g}, which means no difference. Give a "
            "positive distance, or the lower and the upper limit."
        )
    return lower, upper


@dataclass(frozen=True)
class TwoOneSided:
    """Two one-sided tests: p of each side and of equivalence (the larger one)."""

    p_lower: float
    p_upper: float
    p: float


def two_one_sided_tests(
    estimate: float, se: float, df: float, margin: float | tuple[float, float], *, null: float = 0.0
) -> TwoOneSided:
    """Test that a difference lies inside its margins.

    p_lower = P(T > (estimate - lower) / se), p_upper = P(T < (estimate - upper) / se); equivalence
    at level α is shown if both are at most α, which is when the 1 - 2α interval lies inside the
    margins (Schuirmann 1987, J. Pharmacokinet. Biopharm. 15:657). A verdict from the 1 - α interval
    asks for more than that.

    >>> done = two_one_sided_tests(0.5, 0.5, 12, 2.0)
    >>> round(done.p_lower, 5), round(done.p_upper, 5)
    (0.00015, 0.00553)
    """
    if not se > 0:
        raise AnalysisError(f"The standard error is {se}; two one-sided tests need it above zero.")
    lower, upper = limits_of(margin, null)
    p_lower = float(special.stdtr(df, -(estimate - lower) / se))
    p_upper = float(special.stdtr(df, (estimate - upper) / se))
    return TwoOneSided(p_lower, p_upper, max(p_lower, p_upper))
