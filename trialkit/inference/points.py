"""A difference of two shares in percentage points that leaves the check's own share in doubt."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize
from scipy.special import expit

ANGLES = 181
Difference = Callable[[np.ndarray | float], np.ndarray]


@dataclass(frozen=True)
class Points:
    """A difference of two shares with its interval, as fractions of 1."""

    value: float
    low: float
    high: float


def points_interval(
    estimate: np.ndarray, covariance: np.ndarray, shifts: np.ndarray, critical: float
) -> Points:
    """Return the difference of two standardised shares, treatment minus check.

    ``estimate`` (2,) are their means on the logit scale, ``covariance`` (2, 2) that of both,
    ``shifts`` (b,) the effects of the blocks on the logit. The limits are the least and the largest
    difference that any pair of means gives whose distance from the estimate, measured by the
    covariance, is at most ``critical``: an interval of profile type, which leaves out zero exactly
    where that of the log odds ratio leaves out zero, and lets the check's own share be in doubt.
    Projecting a normal likelihood is common practice, no source. tests/benchmarks/points.csv has
    its coverage in simulated trials, beside that of the odds ratio laid on the check's estimated
    share, which takes that share as known.

    >>> found = points_interval(np.array([-2.0, -1.0]), np.diag([0.04, 0.04]), np.zeros(1), 2.0)
    >>> [round(x, 4) for x in (found.value, found.low, found.high)]
    [-0.1497, -0.2434, -0.064]
    """
    root = np.linalg.cholesky(covariance)

    def difference(angle: np.ndarray | float) -> np.ndarray:
        turn = np.stack([np.cos(angle), np.sin(angle)])
        first, second = np.tensordot(root, turn, axes=1) * critical + estimate.reshape(
            2, *[1] * np.ndim(angle)
        )
        shares = expit(np.add.outer(shifts, first)) - expit(np.add.outer(shifts, second))
        return np.asarray(shares.mean(axis=0))

    value = float((expit(shifts + estimate[0]) - expit(shifts + estimate[1])).mean())
    return Points(value, _least(difference), -_least(lambda angle: -difference(angle)))


def _least(difference: Difference) -> float:
    """Return the least value on the circle: the best of a grid, made exact."""
    grid = np.linspace(0, 2 * np.pi, ANGLES)
    best, step = grid[np.argmin(difference(grid))], grid[1]
    found = optimize.minimize_scalar(
        lambda angle: float(difference(angle)),
        bounds=(best - step, best + step), method="bounded", options={"xatol": 1e-9},
    )  # fmt: skip
    return float(found.fun)
