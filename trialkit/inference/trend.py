"""Whether an effect goes along with a condition, from few places: a permutation test."""

import math
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.errors import AnalysisError

FEWEST = 4
MOST_ORDERS = 50_000


@dataclass(frozen=True)
class Trend:
    """A straight line of y on x over n places.

    slope (units of y a unit of x), correlation; p of the permutation test, two-sided; exact where
    every order was tried. smallest_p is the least p that so few places can give.
    """

    n: int
    slope: float
    correlation: float
    p: float
    exact: bool
    smallest_p: float


def permutation_trend(x: np.ndarray, y: np.ndarray, seed: int = 1, runs: int = 9_999) -> Trend:
    """Test whether y (n,) goes along with x (n,) by giving the y to the x in every order.

    p is the share of orders whose absolute correlation is at least that observed, the observed
    order among them; all n! orders up to 8 places, else ``runs`` random ones with one added above
    and below (Phipson & Smyth 2010, Stat. Appl. Genet. Mol. Biol. 9:39). Exact whatever the
    distribution, if under the null hypothesis no order is likelier than another. Raises
    AnalysisError for fewer than 4 places and where x or y does not vary.

    >>> found = permutation_trend(np.array([1.0, 2, 3, 4]), np.array([2.0, 4, 7, 8]))
    >>> round(found.slope, 3), found.exact, round(found.p, 4)       # 2 of 24 orders
    (2.1, True, 0.0833)
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    kept = np.isfinite(x) & np.isfinite(y)
    x, y = x[kept], y[kept]
    if len(x) < FEWEST:
        raise AnalysisError(
            f"A trend needs at least {FEWEST} places with both numbers, and {len(x)} have them."
        )
    if np.ptp(x) == 0 or np.ptp(y) == 0:
        raise AnalysisError("The places do not differ in one of the two, so no trend can be seen.")
    every = math.factorial(len(x)) <= MOST_ORDERS
    slope = float(np.polyfit(x, y, 1)[0])
    correlation = float(np.corrcoef(x, y)[0, 1])
    test = stats.permutation_test(
        (y,),
        lambda order, axis: np.abs(_products(x, order, axis)),
        permutation_type="pairings",
        alternative="greater",
        vectorized=True,
        n_resamples=np.inf if every else runs,
        batch=10_000,
        rng=np.random.default_rng(seed),
    )
    smallest = 2 / math.factorial(len(x)) if every else 1 / (runs + 1)
    return Trend(len(x), slope, correlation, float(test.pvalue), every, smallest)


def _products(x: np.ndarray, order: np.ndarray, axis: int) -> np.ndarray:
    """Covariance up to a factor that no order changes."""
    return np.asarray(np.tensordot(np.moveaxis(order, axis, -1), x - x.mean(), axes=1))
