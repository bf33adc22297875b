"""How much the truth differs between environments: the between-environment variance tau².

Environment i gives q_i estimates y_i (log ratios) with known covariance S_i, and

    y_i ~ N(X_i beta, S_i + tau² C_i),

C_i stating how the variation between environments is shared by its estimates (1 for one ratio). The
three estimators of tau² solve: restricted likelihood (REML); Q(tau²) = its degrees of freedom
(Paule-Mandel); E Q(0) = Q(0) (DerSimonian-Laird), with Q the weighted residual sum of squares.

Sources: Paule & Mandel 1982, J. Res. Natl. Bur. Stand. 87:377; DerSimonian & Laird 1986, Control.
Clin. Trials 7:177; Viechtbauer 2005, J. Educ. Behav. Stat. 30:261 (REML) and 2007, Stat. Med. 26:37
(interval from the profile of Q); Jackson, White & Riley 2013, Biom. J. 55:231 (several estimates).
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Literal, get_args

import numpy as np
from scipy import stats
from scipy.optimize import brentq

from trialkit.errors import AnalysisError

Method = Literal["REML", "Paule-Mandel", "DerSimonian-Laird"]
GRID = np.concatenate([[0.0], np.geomspace(1e-6, 1e4, 41)])
PRECISION = 1e-13


@dataclass(frozen=True)
class Solution:
    """The weighted fit at one tau².

    beta (p,), phi (p, p) = (X'WX)^-1, q the weighted residual sum of squares on ``df``, loglik the
    restricted log likelihood, score its derivative by tau², excess tr(PC).
    """

    tau2: float
    beta: np.ndarray
    phi: np.ndarray
    q: float
    loglik: float
    score: float
    excess: float


@dataclass(frozen=True)
class Evidence:
    """Estimates of m environments that give q each; groups of equal q follow one another.

    Each group is (y (m, q), S (m, q, q), X (m, q, p), C (m, q, q)).

    >>> import numpy as np
    >>> from trialkit.inference.heterogeneity import single, tau_squared
    >>> one = single(np.array([0.0, 1.0, 3.0]), np.array([0.5, 0.5, 0.5]))
    >>> round(tau_squared(one, "REML"), 6)              # variance 7/3 less 0.25: equal weights
    2.083333
    """

    groups: tuple[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray], ...]

    @cached_property
    def df(self) -> int:
        """Estimates less parameters."""
        return sum(y.size for y, *_ in self.groups) - self.groups[0][2].shape[-1]

    def solve(self, tau2: float) -> Solution:
        """Return the weighted fit at ``tau2``."""
        return self.profile(np.array([tau2]))[0]

    def profile(self, tau2: np.ndarray) -> list[Solution]:
        """Return the weighted fits at each of ``tau2`` (g,)."""
        y, x, spread, log_det_s = self._uncorrelated
        w = 1 / (1 + tau2[:, None] * spread)
        phi = np.linalg.inv(_products(x, w))
        beta = (phi @ ((w * y) @ x)[..., None])[..., 0]
        square = (y - beta @ x.T) ** 2
        q, curve = (w * square).sum(axis=1), (w**2 * spread * square).sum(axis=1)
        inner = _products(x, w**2 * spread)
        trace = (w * spread).sum(axis=1) - (phi * inner).sum(axis=(1, 2))
        log_det = log_det_s - np.log(w).sum(axis=1) - np.linalg.slogdet(phi)[1]
        loglik = -(self.df * np.log(2 * np.pi) + log_det + q) / 2
        rows = zip(tau2, beta, phi, q, loglik, (curve - trace) / 2, trace, strict=True)
        return [
            Solution(float(t), b, f, float(a), float(v), float(d), float(e))
            for t, b, f, a, v, d, e in rows
        ]

    @cached_property
    def _uncorrelated(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, float]:
        """Return the estimates turned so that they are uncorrelated at every tau².

        With S = L L' and L^-1 C L'^-1 = U diag(c) U', the values z = U' L^-1 y have variances
        1 + tau² c. Returned are z (n,), its rows of X (n, p), c (n,) and the log determinant of S.
        """
        values, rows, spreads, log_det = [], [], [], 0.0
        for y, s, x, c in self.groups:
            root = np.linalg.cholesky(s)
            half = np.linalg.solve(root, c)
            spread, turn = np.linalg.eigh(np.linalg.solve(root, half.swapaxes(1, 2)))
            whole = turn.swapaxes(1, 2) @ np.linalg.solve(root, np.dstack([y[..., None], x]))
            flat = whole.reshape(-1, whole.shape[-1])
            values.append(flat[:, 0])
            rows.append(flat[:, 1:])
            spreads.append(spread.ravel())
            log_det += 2 * float(np.log(np.einsum("mii->mi", root)).sum())
        return np.concatenate(values), np.concatenate(rows), np.concatenate(spreads), log_det

    @cached_property
    def at_zero(self) -> Solution:
        """Return the fit at tau² = 0."""
        return self.solve(0.0)

    @cached_property
    def scale(self) -> float:
        """Return a tau² of the size of the spread of the estimates."""
        flat = np.concatenate([y.ravel() for y, *_ in self.groups])
        within = np.mean([np.trace(s, axis1=1, axis2=2).mean() / s.shape[-1]
                          for _, s, _, _ in self.groups])  # fmt: skip
        return float(np.var(flat) + within)


def _products(x: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Return X'WX (g, p, p) of rows x (n, p) for each of the weights (g, n)."""
    n, p = x.shape
    return (weight @ (x[:, :, None] * x[:, None, :]).reshape(n, -1)).reshape(-1, p, p)


def single(estimates: np.ndarray, standard_errors: np.ndarray) -> Evidence:
    """Return one estimate per environment, with a common mean, as evidence."""
    k = len(estimates)
    one = np.ones((k, 1, 1))
    return Evidence(((estimates[:, None], (standard_errors**2)[:, None, None], one, one),))


def tau_squared(evidence: Evidence, method: Method) -> float:
    """Estimate tau² (squared log units); 0 where the estimator has no positive solution."""
    if method not in get_args(Method):
        raise AnalysisError(
            f"Unknown method '{method}' for the variance between environments. Choose one of: "
            f"{', '.join(get_args(Method))}."
        )
    if method == "DerSimonian-Laird":
        return max(0.0, (evidence.at_zero.q - evidence.df) / evidence.at_zero.excess)
    if method == "Paule-Mandel":
        return where_q_is(evidence, evidence.df)
    return _restricted_maximum(evidence)


def where_q_is(evidence: Evidence, target: float) -> float:
    """Return the tau² at which Q falls to ``target``; 0 where Q starts below it."""
    if evidence.at_zero.q <= target:
        return 0.0
    high = evidence.scale
    while evidence.solve(high).q > target:
        high *= 4
    return _root(lambda tau2: evidence.solve(tau2).q - target, 0.0, high)


def _restricted_maximum(evidence: Evidence) -> float:
    """Return the best of the local maxima of the restricted likelihood, the boundary included."""
    found = evidence.profile(GRID * evidence.scale)
    tops = [found[0]]
    for low, high in pairwise(found):
        if low.score > 0 >= high.score:
            top = _root(lambda tau2: evidence.solve(tau2).score, low.tau2, high.tau2)
            tops.append(evidence.solve(top))
    return max(tops, key=lambda solution: solution.loglik).tau2


def _root(function: Callable[[float], float], low: float, high: float) -> float:
    return float(brentq(function, low, high, xtol=PRECISION * high, rtol=4e-15))


def tau_squared_interval(evidence: Evidence, level: float = 0.95) -> tuple[float, float]:
    """Return the interval of tau² from the profile of Q (exact for normal estimates)."""
    tails = (1 + level) / 2, (1 - level) / 2
    low, high = (where_q_is(evidence, float(stats.chi2.ppf(t, evidence.df))) for t in tails)
    return low, high


def typical_variance(evidence: Evidence) -> float:
    """Return the typical variance within environments that I² sets tau² against (df / tr(PC))."""
    return evidence.df / evidence.at_zero.excess
