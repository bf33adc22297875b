"""One-sided bounds for a treatment on which not one insect (or nothing else) was found.

The estimate of such a treatment is zero and its ratio to another has no lower end. The upper end
is the ratio at which finding nothing at all would have had a chance of only ``1 - level``. The
drop of the profile likelihood by half a chi-square quantile is no substitute: at its "95 %" bound
the chance of finding nothing is still exp(-1.92), or 0.15, and at the 90 % one 0.26.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special, stats

from trialkit.inference import families

NODES = 60
REACH = 60.0
LARGEST = 600.0
SMALLEST = 1e-200
MOST_CORRELATION = 0.99
LEAST_CORRELATION = 1e-6
ALMOST_ONE = 1 - 1e-12


@dataclass(frozen=True)
class Reference:
    """The treatment that an empty one is compared with, and the variation between plots.

    odds (q,): equally likely multiples of its mean (counts) or odds (shares); phi, clumping: see
    the module ``dispersion``.
    """

    odds: np.ndarray
    phi: float = 1.0
    clumping: float = 0.0


def chance_of_none(
    family: families.Family, mean: np.ndarray, size: np.ndarray, phi: float, clumping: float
) -> np.ndarray:
    """Return the chance that all plots hold nothing, shape (...).

    mean (..., n): expected responses; size (n,). Counts: ``prod (1 + a m / phi)^(-1/a)``, the zero
    term of the negative binomial, which is ``exp(-sum m / phi)`` at a = 0. Shares: the zero term of
    the beta-binomial with correlation a between the units of one plot.

    >>> import numpy as np
    >>> float(chance_of_none(families.Poisson(), np.full(3, 1.0), np.ones(3), 1.0, 0.0).round(4))
    0.0498
    """
    if isinstance(family, families.Binomial):
        return _binomial_none(mean / size, size, min(clumping, MOST_CORRELATION))
    load = mean / phi
    zero = np.log1p(clumping * load) / clumping if clumping > 0 else load
    return np.asarray(np.exp(-zero.sum(-1)))


def _binomial_none(share: np.ndarray, size: np.ndarray, correlation: float) -> np.ndarray:
    if correlation < LEAST_CORRELATION:
        return np.asarray(np.exp((size * np.log1p(-np.minimum(share, ALMOST_ONE))).sum(-1)))
    both = (1 - correlation) / correlation
    beta = both * np.maximum(1 - share, 1 - ALMOST_ONE)
    terms = (
        special.gammaln(beta + size) - special.gammaln(beta)
        - special.gammaln(both + size) + special.gammaln(both)
    )  # fmt: skip
    return np.asarray(np.exp(terms.sum(-1)))


def upper(
    family: families.Family, link: np.ndarray, size: np.ndarray, other: Reference, level: float
) -> tuple[float, float]:
    """Return the log of the upper bound on a ratio (odds ratio), and the chance at ratio 1.

    link, size (n,): linear predictor and size of the empty treatment's plots if its mean (odds)
    were that of the treatment it is compared with. Infinity where no ratio is excluded. With a
    total of T Poisson counts on the other side this is the exact conditional bound,
    ``(1 + ratio)^(-T) = 1 - level``:

    >>> import numpy as np
    >>> other = Reference(relative_odds(10, np.inf, 1 / 10))
    >>> high, _ = upper(families.Poisson(), np.log(np.full(2, 5.0)), np.ones(2), other, 0.95)
    >>> round(float(np.exp(high)), 2), round(0.05 ** (-1 / 10) - 1, 2)
    (0.35, 0.35)
    """

    def chance(shift: float) -> float:
        moved = link + shift + np.log(other.odds)[:, None]
        mean = family.mean(np.minimum(moved, LARGEST), size)
        return float(chance_of_none(family, mean, size, other.phi, other.clumping).mean())

    at_one = chance(0.0)
    if chance(REACH) > 1 - level:
        return np.inf, at_one
    return float(optimize.brentq(lambda x: chance(x) - (1 - level), -REACH, REACH)), at_one


def middles(number: int = NODES) -> np.ndarray:
    """Return the middles of ``number`` equal slices of probability."""
    return (np.arange(number) + 0.5) / number


def relative_odds(events: float, others: float, variance: float) -> np.ndarray:
    """Return likely multiples (q,) of a treatment's mean or odds.

    events, others: its total of events and of trials without one (infinite for counts); variance:
    that of its estimate on the link scale. The totals are scaled down to carry that variance, and
    the uncertainty is then that of a gamma (counts) or beta (shares) variable.
    """
    scale = variance / (1 / events + 1 / others)
    if np.isinf(others):
        drawn = stats.gamma.ppf(middles(), events / scale) * scale / events
        return np.maximum(drawn, SMALLEST)
    drawn = stats.beta.ppf(middles(), events / scale, others / scale)
    drawn = np.clip(drawn, 1e-12, 1 - 1e-12)
    return np.asarray(drawn / (1 - drawn) * others / events)
