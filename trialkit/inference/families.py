"""Distributions with their links: counts, clumped counts, events out of trials."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.special import expit, gammaln, xlogy


class Family(Protocol):
    """A distribution with its link; ``size`` is the exposure of a count, the trials of a share."""

    @property
    def name(self) -> str:
        """The distribution in words."""

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
        """Return the expected response at a linear predictor."""
        return size * np.exp(link)

    def slope(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return d mean / d link."""
        return mean

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the variance of the response at dispersion 1."""
        return mean

    def spread(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return e, where clumping a makes the variance ``variance * (1 + a e)``."""
        return mean

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the deviance of each data set, shape (d,)."""
        return 2 * (xlogy(response, response / mean) - (response - mean)).sum(-1)

    def start(self, response: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return a first linear predictor."""
        exposure = np.broadcast_to(size, response.shape).sum(-1, keepdims=True)
        average = np.maximum(response.sum(-1, keepdims=True), 0.5) / exposure
        return np.log((response + 0.1 * average * size) / (1.1 * size))


@dataclass(frozen=True)
class NegativeBinomial(Poisson):
    """Counts with log link and variance ``mean + mean² / k``."""

    k: float = 1.0
    name: str = "negative binomial"

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the variance of the response at dispersion 1."""
        return mean + mean**2 / self.k

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the deviance of each data set, shape (d,)."""
        clumped = (response + self.k) * np.log((response + self.k) / (mean + self.k))
        return np.asarray(2 * (xlogy(response, response / mean) - clumped).sum(-1))

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
        """Return the expected response at a linear predictor."""
        return size * expit(link)

    def slope(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return d mean / d link."""
        return mean * (1 - mean / size)

    def variance(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the variance of the response at dispersion 1."""
        return mean * (1 - mean / size)

    def spread(self, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return e, where clumping a makes the variance ``variance * (1 + a e)``."""
        return np.broadcast_to(size - 1.0, mean.shape)

    def deviance(self, response: np.ndarray, mean: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return the deviance of each data set, shape (d,)."""
        rest, other = size - response, size - mean
        return 2 * (xlogy(response, response / mean) + xlogy(rest, rest / other)).sum(-1)

    def start(self, response: np.ndarray, size: np.ndarray) -> np.ndarray:
        """Return a first linear predictor."""
        share = (response + 0.5) / (size + 1.0)
        return np.log(share / (1 - share))
