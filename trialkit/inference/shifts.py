"""Differences between treatments in score points, by medians of differences within blocks."""

from dataclasses import dataclass

import numpy as np

from trialkit.errors import AnalysisError

QUANTILE = 0.8


@dataclass(frozen=True)
class Locations:
    """Locations (k,) of k treatments with covariance (k, k), ``scale`` tau, residual ``df``."""

    location: np.ndarray
    covariance: np.ndarray
    scale: float
    df: int


def locate(score: np.ndarray, treatment: np.ndarray, block: np.ndarray) -> Locations:
    """Locate treatments so that their differences are Hodges-Lehmann estimates.

    For each pair of treatments the estimate is the median of the averages of two differences
    within blocks (Hodges & Lehmann 1963, Ann. Math. Stat. 34:598); the pairs are made to agree by
    least squares (Lehmann 1964, Ann. Math. Stat. 35:726), and the locations are set to have the
    treatments' medians as average. The variance of a location is ``tau² / plots``, see ``tau``.
    score, treatment, block: (n,). Raises AnalysisError where nothing is left for the variation.

    >>> done = locate(np.array([7.0, 3, 6, 4, 8, 4]), np.array([0, 1] * 3), np.repeat(range(3), 2))
    >>> done.location.round(9).tolist(), done.df
    ([7.25, 3.75], 2)
    """
    k = int(treatment.max()) + 1
    location = _agree(score, treatment, block, k)
    left = score - location[treatment]
    residual = left - _block_centres(left, block)
    df = len(score) - k - len(np.unique(block)) + 1
    if df < 1:
        raise AnalysisError(
            "No plots are left over to show how much scores of one treatment differ. More blocks, "
            "or fewer treatments, are needed."
        )
    scale = tau(residual, score, df)
    return Locations(location, np.diag(scale**2 / np.bincount(treatment)), scale, df)


def tau(residual: np.ndarray, score: np.ndarray, df: int) -> float:
    """Return the scale that a rank estimate's standard error rests on.

    ``tau = 1 / (sqrt(12) ∫ f²)`` for residuals of density f (Hettmansperger & McKean 2011, Robust
    Nonparametric Statistical Methods, ch. 3). The integral is the density at zero of differences
    between two residuals: the share of differences no larger than h, over 2 h, with h their 0.8
    quantile over sqrt(n), and never less than one step of the scoring scale, as scores are rounded
    to steps. ``sqrt(n / df)`` allows for the estimates in the residuals.
    """
    n = len(residual)
    first, second = np.triu_indices(n, 1)
    distance = np.abs(residual[first] - residual[second])
    steps = np.diff(np.unique(score))
    width = max(float(np.quantile(distance, QUANTILE)) / np.sqrt(n), float(steps.min()))
    density = max(float((distance <= width).mean()), 1 / len(distance)) / (2 * width)
    return float(np.sqrt(n / df) / (np.sqrt(12) * density))


def _agree(score: np.ndarray, treatment: np.ndarray, block: np.ndarray, k: int) -> np.ndarray:
    """Return locations whose differences are closest to the pairs' estimates."""
    laplacian, pull = np.zeros((k, k)), np.zeros(k)
    for i in range(k):
        for j in range(i):
            difference = _differences(score, treatment, block, i, j)
            if not len(difference):
                continue
            weight, shift = len(difference), _pair_shift(difference, block)
            laplacian[[i, j], [i, j]] += weight
            laplacian[[i, j], [j, i]] -= weight
            pull[i], pull[j] = pull[i] + weight * shift, pull[j] - weight * shift
    effect = np.linalg.pinv(laplacian, hermitian=True) @ pull
    medians = [float(np.median(score[treatment == i])) for i in range(k)]
    return np.asarray(effect - effect.mean() + np.mean(medians))


def _differences(
    score: np.ndarray, treatment: np.ndarray, block: np.ndarray, i: int, j: int
) -> np.ndarray:
    """Return all differences of a plot of i minus a plot of j in the same block."""
    parts = [
        np.subtract.outer(score[(treatment == i) & here], score[(treatment == j) & here]).ravel()
        for here in (block == level for level in np.unique(block))
    ]
    return np.concatenate(parts)


def _pair_shift(difference: np.ndarray, block: np.ndarray) -> float:
    if not block.any():
        return float(np.median(difference))
    return walsh_median(difference)


def walsh_median(values: np.ndarray) -> float:
    """Return the median of the averages of all pairs, each value with itself included.

    >>> walsh_median(np.array([1.0, 2, 9]))
    3.5
    """
    first, second = np.triu_indices(len(values))
    return float(np.median((values[first] + values[second]) / 2))


def _block_centres(left: np.ndarray, block: np.ndarray) -> np.ndarray:
    centre = np.zeros(len(left))
    for level in np.unique(block):
        centre[block == level] = walsh_median(left[block == level])
    return centre
