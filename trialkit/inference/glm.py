"""Generalised linear models of many data sets at once: iterated weighted least squares.

One core serves the analysis of a single trial and the calibration over thousands: every response
array is ``(d, n)``, d data sets of n plots that share one model matrix.
"""

from dataclasses import dataclass

import numpy as np

from trialkit.inference.families import Binomial, Family

TOLERANCE = 1e-10
MOST_STEPS = 60
LARGEST_LINK = 30.0
EDGE = 1e-7


@dataclass(frozen=True)
class GlmFit:
    """Maximum likelihood (or penalised) fits of d data sets.

    coefficients (d, p); mean, weight (d, n): fitted response and Fisher weight; inverse (d, p, p):
    inverse of the Fisher information at dispersion 1; converged (d,); steps: iterations used.
    """

    coefficients: np.ndarray
    mean: np.ndarray
    weight: np.ndarray
    inverse: np.ndarray
    converged: np.ndarray
    steps: int


def information(matrix: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return X'WX for each data set, shape (d, p, p)."""
    products = matrix[:, :, None] * matrix[:, None, :]
    return np.tensordot(weight, products, axes=(-1, 0))


def leverage(matrix: np.ndarray, weight: np.ndarray, inverse: np.ndarray) -> np.ndarray:
    """Return the diagonal of the weighted hat matrix, shape (d, n)."""
    return weight * ((matrix @ inverse) * matrix).sum(-1)


def fit(
    family: Family,
    matrix: np.ndarray,
    response: np.ndarray,
    size: np.ndarray,
    *,
    penalised: bool = False,
) -> GlmFit:
    """Fit a GLM to each of d data sets by Fisher scoring.

    matrix (n, p) of full column rank; response (d, n); size (n,) or (d, n). With ``penalised`` the
    likelihood carries Jeffreys' prior, which keeps every estimate finite and removes the leading
    bias (Firth 1993, Biometrika 80:27): half of each leverage is added to the response, and for
    shares the whole of it to the trials.

    >>> import numpy as np
    >>> from trialkit.inference.families import Poisson
    >>> one = fit(Poisson(), np.ones((4, 1)), np.array([[1.0, 2, 3, 6]]), np.ones(4))
    >>> float(np.exp(one.coefficients[0, 0]).round(9)), bool(one.converged[0])
    (3.0, True)
    """
    size = np.broadcast_to(size, response.shape)
    link = family.start(response, size)
    coefficients = np.zeros((len(response), matrix.shape[1]))
    for step in range(1, MOST_STEPS + 1):
        mean = family.mean(link, size)
        slope = family.slope(mean, size)
        weight = slope**2 / family.variance(mean, size)
        inverse = np.linalg.inv(information(matrix, weight))
        residual = response - mean
        if penalised:
            hat = leverage(matrix, weight, inverse)
            residual = residual + _firth_score(family, mean, size, hat)
        score = (weight * (link + residual / slope)) @ matrix
        before, coefficients = coefficients, (inverse @ score[..., None])[..., 0]
        link = np.clip(coefficients @ matrix.T, -LARGEST_LINK, LARGEST_LINK)
        moved = np.abs(coefficients - before).max(-1)
        if step > 1 and moved.max() < TOLERANCE:
            break
    mean = family.mean(link, size)
    weight = family.slope(mean, size) ** 2 / family.variance(mean, size)
    inverse = np.linalg.inv(information(matrix, weight))
    return GlmFit(coefficients, mean, weight, inverse, moved < 1e-6, step)


def runs_away(family: Family, fitted: GlmFit, size: np.ndarray) -> np.ndarray:
    """Return which fits (d,) tend to infinity: not converged, or a mean at its edge."""
    total = fitted.mean.sum(-1, keepdims=True)
    edge = fitted.mean < EDGE * total
    if isinstance(family, Binomial):
        edge |= size - fitted.mean < EDGE * (size - fitted.mean).sum(-1, keepdims=True)
    return np.asarray(~fitted.converged | edge.any(-1))


def replaced(fitted: GlmFit, which: np.ndarray, other: GlmFit) -> GlmFit:
    """Return the fits with those of ``which`` (d,) taken from ``other``, in order."""
    names = ("coefficients", "mean", "weight", "inverse", "converged")
    parts = {name: getattr(fitted, name).copy() for name in names}
    for name, part in parts.items():
        part[which] = getattr(other, name)
    return GlmFit(**parts, steps=max(fitted.steps, other.steps))


def _firth_score(family: Family, mean: np.ndarray, size: np.ndarray, hat: np.ndarray) -> np.ndarray:
    """Return what Jeffreys' prior adds to the score residual (canonical links)."""
    share = mean / size if isinstance(family, Binomial) else np.zeros_like(mean)
    return hat * (0.5 - share)


def pearson(family: Family, response: np.ndarray, fitted: GlmFit, size: np.ndarray) -> np.ndarray:
    """Return Pearson's chi-square of each data set, shape (d,)."""
    return ((response - fitted.mean) ** 2 / family.variance(fitted.mean, size)).sum(-1)
