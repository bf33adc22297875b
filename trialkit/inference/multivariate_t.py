"""Tail of the largest |t| of several comparisons that share their means and their error.

For means with covariance proportional to V (k, k) and a set of pairs (i, j), T_ij is the difference
of a pair over its standard error. Everything multiple comparisons need is P(max |T_ij| > c). The
routes below are deterministic. Quadrature, to about ten digits, where two dimensions suffice: all
comparisons with a check whose correlations factor (Dunnett 1955), all pairs with equal variances
(Tukey). Otherwise a fixed lattice of directions, to about four digits (spherical-radial integration
as in Genz & Bretz 2009, Computation of Multivariate Normal and t Probabilities).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import optimize, special

Pair = tuple[int, int]
LATTICE_POINTS = 16384
BINS = 128
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83)


@dataclass(frozen=True)
class Comparisons:
    """Pairs among k means with covariance ``V`` (k, k); ``scale`` (m,) is each pair's sqrt(var)."""

    V: np.ndarray
    pairs: tuple[Pair, ...]
    scale: np.ndarray


def comparisons(V: np.ndarray, pairs: Sequence[Pair]) -> Comparisons:
    """Return the comparisons of ``pairs`` among means with covariance ``V``."""
    d = np.diag(V)
    scale = np.array([np.sqrt(d[i] + d[j] - 2 * V[i, j]) for i, j in pairs])
    return Comparisons(np.asarray(V, dtype=float), tuple(pairs), scale)


def tail(c: np.ndarray, family: Comparisons, df: float) -> np.ndarray:
    """Return P(max |T| > c) for each of the ``c`` (q,), with ``df`` degrees of freedom.

    Kept between the tail of a single t and m times that, between which the truth lies.

    >>> family = comparisons(np.eye(3), [(1, 0), (2, 0)])
    >>> round(float(tail(np.array([2.57]), family, 10.0)[0]), 4)
    0.0499
    """
    c = np.atleast_1d(np.asarray(c, dtype=float))
    single = _single(c, df)
    if len(family.pairs) == 1:
        return single
    return np.clip(1 - _inside(c, family, df), single, np.minimum(1, len(family.pairs) * single))


def _single(c: np.ndarray, df: float) -> np.ndarray:
    """Two-sided tail of one t with ``df`` degrees of freedom (normal where infinite)."""
    tail_of = special.ndtr(-np.abs(c)) if not np.isfinite(df) else special.stdtr(df, -np.abs(c))
    return np.asarray(2 * tail_of)


def _inside(c: np.ndarray, family: Comparisons, df: float) -> np.ndarray:
    loadings = _star_loadings(family)
    if loadings is not None:
        return _star_inside(c, loadings, df)
    if _is_tukey(family):
        return _range_inside(c * np.sqrt(2), len(family.V), df)
    return _sphere_inside(c, family, df)


def critical(level: float, family: Comparisons, df: float) -> float:
    """Return c with P(max |T| > c) = 1 - level.

    >>> family = comparisons(np.eye(3), [(1, 0), (2, 0), (1, 2)])
    >>> round(critical(0.95, family, 10.0) * 2**0.5, 3)
    3.877
    """
    miss, m = 1 - level, len(family.pairs)
    low, high = _quantile(miss, df), _quantile(miss / m, df)
    if m == 1:
        return low

    loadings = _star_loadings(family)
    if loadings is not None:
        return _star_critical(low, high, miss, tuple(loadings.round(13).tolist()), float(df))
    return _solved(lambda x: tail(np.array([x]), family, df), low, high, miss)


@lru_cache(maxsize=256)
def _star_critical(
    low: float, high: float, miss: float, loadings: tuple[float, ...], df: float
) -> float:
    """Measures of one balanced trial share their comparisons; what they differ in is rounding."""
    return _solved(lambda x: 1 - _star_inside(np.array([x]), np.array(loadings), df),
                   low, high, miss)  # fmt: skip


def _solved(tail_at: Callable[[float], np.ndarray], low: float, high: float, miss: float) -> float:
    """Return where the tail falls to ``miss`` between two values that hold it, or the nearer."""

    def f(x: float) -> float:
        return float(tail_at(x)[0]) - miss

    above, below = f(low), f(high)
    if above <= 0 or below >= 0:
        return low if above <= 0 else high
    return float(optimize.brentq(f, low, high, xtol=1e-10))


def _quantile(two_sided: float, df: float) -> float:
    if np.isfinite(df):
        return float(-special.stdtrit(df, two_sided / 2))
    return float(-special.ndtri(two_sided / 2))


@lru_cache(maxsize=64)
def scale_rule(df: float) -> tuple[np.ndarray, np.ndarray]:
    """Return nodes and weights for s = chi_df / sqrt(df), the estimated over the true error."""
    if not np.isfinite(df):
        return np.ones(1), np.ones(1)
    ends = np.sqrt(2 * special.gammaincinv(df / 2, [1e-14, 1 - 1e-14]) / df)
    ends[1] = np.sqrt(2 * special.gammainccinv(df / 2, 1e-14) / df)
    x, w = np.polynomial.legendre.leggauss(48)
    s = ends[0] + (x + 1) / 2 * (ends[1] - ends[0])
    log_density = (
        np.log(2) + df / 2 * np.log(df / 2) - special.gammaln(df / 2)
        + (df - 1) * np.log(s) - df * s**2 / 2
    )  # fmt: skip
    weights = w * (ends[1] - ends[0]) / 2 * np.exp(log_density)
    return s, weights / weights.sum()


@lru_cache(maxsize=1)
def _normal_rule() -> tuple[np.ndarray, np.ndarray]:
    x, w = np.polynomial.legendre.leggauss(64)
    z = 8.5 * x
    return z, 8.5 * w * np.exp(-(z**2) / 2) / np.sqrt(2 * np.pi)


def _star_loadings(family: Comparisons) -> np.ndarray | None:
    """Return λ with corr(T_i, T_j) = λ_i λ_j where all pairs share one mean and that holds."""
    shared = set.intersection(*(set(pair) for pair in family.pairs))
    if len(shared) != 1:
        return None
    R = _correlations(family, shared.pop())
    if (R <= 1e-12).any():
        return None
    return _factor(R)


def _factor(R: np.ndarray) -> np.ndarray | None:
    m = len(R)
    if m == 2:
        return np.sqrt(np.full(2, R[0, 1]))
    logs = np.log(R)
    off = logs.sum(axis=1) - np.diag(logs)
    total = off.sum() / (2 * (m - 1))
    loadings = np.exp((off - total) / (m - 2))
    error = np.abs(np.outer(loadings, loadings) - R)[~np.eye(m, dtype=bool)].max()
    return loadings if error < 1e-9 and loadings.max() < 0.999 else None


def _star_inside(c: np.ndarray, loadings: np.ndarray, df: float) -> np.ndarray:
    """P(all |T_i| <= c) = E_s E_z Π_i [Φ((cs + λ_i z)/τ_i) - Φ((-cs + λ_i z)/τ_i)], τ² = 1 - λ²."""
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


def _is_tukey(family: Comparisons) -> bool:
    k = len(family.V)
    complete = len({frozenset(pair) for pair in family.pairs}) == k * (k - 1) // 2
    return complete and bool(np.ptp(family.scale) < 1e-9 * family.scale.max())


def _range_inside(q: np.ndarray, k: int, df: float) -> np.ndarray:
    """P(studentized range <= q) = E_s k ∫ φ(z) [Φ(z) - Φ(z - qs)]^(k-1) dz."""
    s, ws = scale_rule(float(df))
    z, wz = _normal_rule()
    qs = (np.asarray(q)[:, None] * s)[:, :, None]
    inside = (special.ndtr(z) - special.ndtr(z - qs)) ** (k - 1)
    return np.asarray(k * (inside @ wz) @ ws)


@lru_cache(maxsize=16)
def _directions(dimensions: int) -> np.ndarray:
    """Return (n, dimensions) unit vectors spread evenly: a Richtmyer lattice made normal."""
    lattice = np.outer(np.arange(1, LATTICE_POINTS + 1), np.sqrt(_PRIMES[:dimensions])) % 1
    normals = special.ndtri(np.abs(2 * lattice - 1))
    return np.asarray(normals / np.linalg.norm(normals, axis=1, keepdims=True))


def _reaches(family: Comparisons) -> tuple[np.ndarray, np.ndarray]:
    """Return binned values and weights of M(u), the largest |T| in direction u at radius 1."""
    k = len(family.V)
    D = np.hstack([-np.ones((k - 1, 1)), np.eye(k - 1)])
    L = np.vstack([np.zeros((1, k - 1)), np.linalg.cholesky(D @ family.V @ D.T)])
    first, second = np.array(family.pairs).T
    rows = (L[first] - L[second]) / family.scale[:, None]
    M = np.abs(_directions(k - 1) @ rows.T).max(axis=1)
    low, high = float(M.min()), float(M.max())
    place = np.minimum(((M - low) / max(high - low, 1e-300) * BINS).astype(int), BINS - 1)
    count = np.bincount(place, minlength=BINS)
    mean = np.bincount(place, M, minlength=BINS)[count > 0] / count[count > 0]
    return mean, count[count > 0] / len(M)


def _sphere_inside(c: np.ndarray, family: Comparisons, df: float) -> np.ndarray:
    """Integrate over directions on the sphere; the radius over the error is an exact F.

    P(max |T| > c) = E_u P(F(k-1, df) > c² / ((k-1) M(u)²)). The same sum for a nearby family whose
    value is known by quadrature corrects most of the error of the lattice.
    """
    k = len(family.V)
    if k - 1 > len(_PRIMES):
        return 1 - len(family.pairs) * _single(c, df)
    near = _exchangeable(family)
    known = _inside(c, near, df)
    return np.asarray(known - _sphere_tail(c, family, df) + _sphere_tail(c, near, df))


def _sphere_tail(c: np.ndarray, family: Comparisons, df: float) -> np.ndarray:
    reach, weight = _cached_reaches(family.V.tobytes(), family.pairs)
    x = (c[:, None] / reach) ** 2
    k1 = len(family.V) - 1
    if np.isfinite(df):
        return np.asarray(special.fdtrc(k1, df, x / k1) @ weight)
    return np.asarray(special.gammaincc(k1 / 2, x / 2) @ weight)


@lru_cache(maxsize=32)
def _cached_reaches(V: bytes, pairs: tuple[Pair, ...]) -> tuple[np.ndarray, np.ndarray]:
    flat = np.frombuffer(V)
    k = round(len(flat) ** 0.5)
    return _reaches(comparisons(flat.reshape(k, k), pairs))


def _exchangeable(family: Comparisons) -> Comparisons:
    """Return the same pairs among means of equal variance (the shared mean's own, for a star)."""
    variance = np.ones(len(family.V))
    shared = set.intersection(*(set(pair) for pair in family.pairs))
    if len(shared) == 1:
        hub = shared.pop()
        shared_part = float(np.clip(np.mean(_correlations(family, hub)), 0.05, 0.95))
        variance[hub] = shared_part / (1 - shared_part)
    return comparisons(np.diag(variance), family.pairs)


def _correlations(family: Comparisons, hub: int) -> np.ndarray:
    """Return the (m, m) correlations of comparisons that all share the mean ``hub``."""
    others = [i if j == hub else j for i, j in family.pairs]
    V = family.V
    shared = V[others, hub]
    covariance = V[np.ix_(others, others)] - shared[:, None] - shared[None, :] + V[hub, hub]
    return np.asarray(covariance / np.outer(family.scale, family.scale))
