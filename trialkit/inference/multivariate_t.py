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
from functools import cached_property, lru_cache

import numpy as np
from scipy import optimize, special

from trialkit.inference.t_quadrature import know_nodes, range_inside, star_inside

Pair = tuple[int, int]
LATTICE_POINTS = 16384
BINS = 128
_PRIMES = (2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83)


Inside = Callable[[np.ndarray, float], np.ndarray]


@dataclass(frozen=True)
class Comparisons:
    """Pairs among k means with covariance ``V`` (k, k); ``scale`` (m,) is each pair's sqrt(var)."""

    V: np.ndarray
    pairs: tuple[Pair, ...]
    scale: np.ndarray

    @cached_property
    def loadings(self) -> np.ndarray | None:
        """Return λ with corr(T_i, T_j) = λ_i λ_j where all pairs share one mean and that holds."""
        return _star_loadings(self)

    @cached_property
    def inside(self) -> Inside:
        """Return the function of c (q,) and the degrees of freedom that is P(max |T| <= c)."""
        return _way_inside(self)


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
    return np.clip(1 - family.inside(c, df), single, np.minimum(1, len(family.pairs) * single))


def _single(c: np.ndarray, df: float) -> np.ndarray:
    """Two-sided tail of one t with ``df`` degrees of freedom (normal where infinite)."""
    tail_of = special.ndtr(-np.abs(c)) if not np.isfinite(df) else special.stdtr(df, -np.abs(c))
    return np.asarray(2 * tail_of)


def _way_inside(family: Comparisons) -> Inside:
    """Choose between quadrature and lattice; what no c and no df changes is worked out once."""
    k, loadings = len(family.V), family.loadings
    if loadings is not None:
        return lambda c, df: star_inside(c, loadings, df)
    if _is_tukey(family):
        return lambda c, df: range_inside(c * np.sqrt(2), k, df)
    if k - 1 > len(_PRIMES):
        return lambda c, df: 1 - len(family.pairs) * _single(c, df)
    return _sphere_inside(family, _exchangeable(family))


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
    if family.loadings is not None:
        return _star_critical(low, high, miss, tuple(family.loadings.round(13).tolist()), float(df))
    if _is_tukey(family):
        return _range_critical(low, high, miss, len(family.V), float(df))
    return _solved(lambda x: tail(x, family, df), low, high, miss)


# Measures of one balanced trial share their comparisons; what they differ in is rounding. Both
# functions solve from what stands in their key alone, so that nothing depends on who came first.


@lru_cache(maxsize=256)
def _star_critical(
    low: float, high: float, miss: float, loadings: tuple[float, ...], df: float
) -> float:
    return _solved(lambda x: 1 - star_inside(x, np.array(loadings), df), low, high, miss)


@lru_cache(maxsize=256)
def _range_critical(low: float, high: float, miss: float, k: int, df: float) -> float:
    return _solved(lambda x: 1 - range_inside(x * np.sqrt(2), k, df), low, high, miss)


def _solved(
    tail_at: Callable[[np.ndarray], np.ndarray], low: float, high: float, miss: float
) -> float:
    """Return where the tail falls to ``miss`` between two values that hold it, or the nearer.

    Solved on the logarithm of the tail, which is so nearly straight that few steps are needed.
    """
    above, below = tail_at(np.array([low, high])).tolist()
    if above <= miss or below >= miss:
        return low if above <= miss else high
    known = {low: np.log(above / miss), high: np.log(below / miss)}

    def excess(x: float) -> float:
        if x not in known:
            known[x] = np.log(float(tail_at(np.array([x]))[0]) / miss)
        return float(known[x])

    return float(optimize.brentq(excess, low, high, xtol=1e-13))


def _quantile(two_sided: float, df: float) -> float:
    if np.isfinite(df):
        return float(-special.stdtrit(df, two_sided / 2))
    return float(-special.ndtri(two_sided / 2))


def _star_loadings(family: Comparisons) -> np.ndarray | None:
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


def _is_tukey(family: Comparisons) -> bool:
    k = len(family.V)
    complete = len({frozenset(pair) for pair in family.pairs}) == k * (k - 1) // 2
    return complete and bool(np.ptp(family.scale) < 1e-9 * family.scale.max())


@lru_cache(maxsize=16)
def _directions(dimensions: int) -> np.ndarray:
    """Return (dimensions, n) unit vectors spread evenly: a Richtmyer lattice made normal."""
    lattice = np.outer(np.arange(1, LATTICE_POINTS + 1), np.sqrt(_PRIMES[:dimensions])) % 1
    normals = special.ndtri(np.abs(2 * lattice - 1))
    return np.ascontiguousarray((normals / np.linalg.norm(normals, axis=1, keepdims=True)).T)


def know_every_rule() -> None:
    """Work out now what no data change, for those that come after in this process or its forks.

    These are the nodes and weights of the quadratures, and directions for up to eight means.
    """
    know_nodes()
    for dimensions in range(2, 8):
        _directions(dimensions)


def _reaches(family: Comparisons) -> tuple[np.ndarray, np.ndarray]:
    """Return binned values and weights of M(u), the largest |T| in direction u at radius 1."""
    k = len(family.V)
    D = np.hstack([-np.ones((k - 1, 1)), np.eye(k - 1)])
    L = np.vstack([np.zeros((1, k - 1)), np.linalg.cholesky(D @ family.V @ D.T)])
    first, second = np.array(family.pairs).T
    rows = (L[first] - L[second]) / family.scale[:, None]
    M = rows @ _directions(k - 1)
    M = np.abs(M, out=M).max(axis=0)
    low, high = float(M.min()), float(M.max())
    place = np.minimum(((M - low) / max(high - low, 1e-300) * BINS).astype(int), BINS - 1)
    count = np.bincount(place, minlength=BINS)
    mean = np.bincount(place, M, minlength=BINS)[count > 0] / count[count > 0]
    return mean, count[count > 0] / len(M)


def _sphere_inside(family: Comparisons, near: Comparisons) -> Inside:
    """Integrate over directions on the sphere; the radius over the error is an exact F.

    P(max |T| > c) = E_u P(F(k-1, df) > c² / ((k-1) M(u)²)). The same sum for a nearby family whose
    value is known by quadrature corrects most of the error of the lattice.
    """
    own, nearby = (_cached_reaches(one.V.tobytes(), one.pairs) for one in (family, near))
    k1 = len(family.V) - 1

    def inside(c: np.ndarray, df: float) -> np.ndarray:
        beyond = _sphere_tail(c, own, k1, df), _sphere_tail(c, nearby, k1, df)
        return np.asarray(near.inside(c, df) - beyond[0] + beyond[1])

    return inside


def _sphere_tail(
    c: np.ndarray, reaches: tuple[np.ndarray, np.ndarray], k1: int, df: float
) -> np.ndarray:
    reach, weight = reaches
    x = (c[:, None] / reach) ** 2
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
