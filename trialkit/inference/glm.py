"""Generalised linear models of many data sets at once: iterated weighted least squares.

One core serves the analysis of a single trial and the calibration over thousands: every response
array is ``(d, n)``, d data sets of n plots that share one model matrix.
"""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import expit, gammaln, xlogy

TOLERANCE = 1e-10
MOST_STEPS = 60
LARGEST_LINK = 30.0


class Family(Protocol):
    """A distribution with its link; ``size`` is the exposure of a count, the trials of a share."""

    name: str

    def mean(self, link: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the expected response at a linear predictor."""

    def slope(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return d mean / d link."""

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the variance of the response at dispersion 1."""

    def spread(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return e, where clumping a makes the variance ``variance * (1 + a e)``."""

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the deviance of each data set, shape (d,)."""

    def start(self, response: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return a first linear predictor."""


@dataclass(frozen=True)
class Poisson:
    """Counts with log link; the mean is ``exposure * exp(link)``."""

    name: str = "Poisson"

    def mean(self, link: np.ndarray, size: np.ndarray) -> np.ndarray:
        return size * np.exp(link)

    def slope(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean

    def spread(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return 2 * (xlogy(response, response / mean) - (response - mean)).sum(-1)

    def start(self, response: np.ndarray, size: np.ndarray) -> np.ndarray:
        average = response.sum(-1, keepdims=True) / np.broadcast_to(size, response.shape).sum(
            -1, keepdims=True
        )
        return np.log((response + 0.1 * average * size) / (1.1 * size))


@dataclass(frozen=True)
class NegativeBinomial(Poisson):
    """Counts with log link and variance ``mean + mean² / k``."""

    k: float = 1.0
    name: str = "negative binomial"

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean + mean**2 / self.k

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        clumped = (response + self.k) * np.log((response + self.k) / (mean + self.k))
        return 2 * (xlogy(response, response / mean) - clumped).sum(-1)

    def log_likelihood(self, response: np.ndarray, mean: np.ndarray) -> float:
        """Return the log likelihood of one data set."""
        k = self.k
        return float(
            (
                gammaln(response + k)
                - gammaln(k)
                - gammaln(response + 1)
                + k * np.log(k / (k + mean))
                + xlogy(response, mean / (k + mean))
            ).sum()
        )


@dataclass(frozen=True)
class Binomial:
    """Events out of trials with logit link; the mean is ``trials * expit(link)``."""

    name: str = "binomial"

    def mean(self, link: np.ndarray, size: np.ndarray) -> np.ndarray:
        return size * expit(link)

    def slope(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean * (1 - mean / size)

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return mean * (1 - mean / size)

    def spread(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        return np.broadcast_to(size - 1.0, mean.shape)

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        rest, other = size - response, size - mean
        return 2 * (xlogy(response, response / mean) + xlogy(rest, rest / other)).sum(-1)

    def start(self, response: np.ndarray, size: np.ndarray) -> np.ndarray:
        share = (response + 0.5) / (size + 1.0)
        return np.log(share / (1 - share))


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
    return weight * np.einsum("np,dpq,nq->dn", matrix, inverse, matrix, optimize=True)


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
            residual = residual + _firth_score(family, mean, size, leverage(matrix, weight, inverse))
        score = (weight * (link + residual / slope)) @ matrix
        before, coefficients = coefficients, np.einsum("dpq,dq->dp", inverse, score)
        link = np.clip(coefficients @ matrix.T, -LARGEST_LINK, LARGEST_LINK)
        moved = np.abs(coefficients - before).max(-1)
        if step > 1 and moved.max() < TOLERANCE:
            break
    mean = family.mean(link, size)
    weight = family.slope(mean, size) ** 2 / family.variance(mean, size)
    inverse = np.linalg.inv(information(matrix, weight))
    return GlmFit(coefficients, mean, weight, inverse, moved < 1e-6, step)


def _firth_score(
    family: Family, mean: np.ndarray, size: np.ndarray, hat: np.ndarray
) -> np.ndarray:
    """Return what Jeffreys' prior adds to the score residual (canonical links)."""
    share = mean / size if isinstance(family, Binomial) else np.zeros_like(mean)
    return hat * (0.5 - share)


def pearson(family: Family, response: np.ndarray, fitted: GlmFit, size: np.ndarray) -> np.ndarray:
    """Return Pearson's chi-square of each data set, shape (d,)."""
    return ((response - fitted.mean) ** 2 / family.variance(fitted.mean, size)).sum(-1)
