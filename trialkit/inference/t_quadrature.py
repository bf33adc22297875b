"""Quadrature over the estimated error: the largest |t| of comparisons that two integrals settle."""

from functools import lru_cache

import numpy as np
from scipy import special


@lru_cache(maxsize=2)
def _legendre(points: int) -> tuple[np.ndarray, np.ndarray]:
    return np.polynomial.legendre.leggauss(points)


@lru_cache(maxsize=64)
def scale_rule(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Return nodes and weights for s = chi_df / sqrt(df), the estimated over the true error."""
    if not np.isfinite(df):
        return np.ones(1), np.ones(1)
    ends = np.sqrt(2 * special.gammaincinv(df / 2, [1e-14, 1 - 1e-14]) / df)
    ends[1] = np.sqrt(2 * special.gammainccinv(df / 2, 1e-14) / df)
    x, w = _legendre(48)
    s = ends[0] + (x + 1) / 2 * (ends[1] - ends[0])
    log_density = (
        np.log(2) + df / 2 * np.log(df / 2) - special.gammaln(df / 2)
        + (df - 1) * np.log(s) - df * s**2 / 2
    )  # fmt: skip
    weights = w * (ends[1] - ends[0]) / 2 * np.exp(log_density)
    return s, weights / weights.sum()


@lru_cache(maxsize=1)
def _normal_rule() -> tuple[np.ndarray, np.ndarray]:
    x, w = _legendre(64)
    z = 8.5 * x
    return z, 8.5 * w * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)


def know_nodes() -> None:
    """Work out the nodes that no data change, for those that come after."""
    scale_rule(1.0)
    _normal_rule()


def star_inside(c: np.ndarray, loadings: np.ndarray, df: float) -> np.ndarray:
    """Return P(all |T_i| <= c) for each of ``c`` (q,), corr(T_i, T_j) = λ_i λ_j (Dunnett 1955).

    It is E_s E_z Π_i [Φ((cs + λ_i z)/τ_i) - Φ((-cs + λ_i z)/τ_i)], τ² = 1 - λ².
    """
    s, ws = scale_rule(float(df))
    z, wz = _normal_rule()
    half, wz = z[z > 0], 2 * wz[z > 0]
    cs = (c[:, None] * s)[:, :, None]
    product = np.ones((len(c), len(s), len(half)))
    for value, times in zip(*np.unique(loadings, return_counts=True), strict=True):
        tau = np.sqrt(1 - value**2)
        inside = special.ndtr((cs + value * half) / tau) - special.ndtr((-cs + value * half) / tau)
        product *= inside**times
    return np.asarray(product @ wz @ ws)


def range_inside(q: np.ndarray, k: int, df: float) -> np.ndarray:
    """Return P(studentized range of k <= q) for each of ``q`` (m,).

    It is E_s k ∫ φ(z) [Φ(z) - Φ(z - qs)]^(k-1) dz.
    """
    s, ws = scale_rule(float(df))
    z, wz = _normal_rule()
    qs = (np.asarray(q)[:, None] * s)[:, :, None]
    inside = (special.ndtr(z) - special.ndtr(z - qs)) ** (k - 1)
    return np.asarray(k * (inside @ wz) @ ws)
