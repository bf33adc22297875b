"""Satterthwaite degrees of freedom for fixed effects of a REML fit.

One contrast c has 2 (c'Phi c)^2 / (g'A g) degrees of freedom, where g is the gradient of c'Phi c by
the components and A their covariance. Several contrasts at once are rotated until independent and
their degrees of freedom combined so that the mean of F agrees.

Sources: Satterthwaite 1946, Biometrics Bulletin 2:110; Fai & Cornelius 1996, J. Stat. Comput.
Simul. 54:363. With the observed information this is what lmerTest computes at an interior fit.
"""

import numpy as np
from scipy import stats

from trialkit.inference.kenward_roger import FTest
from trialkit.inference.reml import RemlFit


def contrast_df(fit: RemlFit, contrast: np.ndarray, *, observed: bool = True) -> float:
    """Return the Satterthwaite degrees of freedom of ``contrast`` (p,) times beta."""
    return float(_dfs(fit, np.atleast_2d(contrast), observed)[0])


def satterthwaite_test(fit: RemlFit, contrasts: np.ndarray, *, observed: bool = True) -> FTest:
    """Test that every row of ``contrasts`` (l, p) times beta is zero, with the plain covariance.

    >>> import numpy as np
    >>> from trialkit.inference.block_algebra import arrange
    >>> from trialkit.inference.reml import fit_reml
    >>> block = np.repeat(np.arange(4), 3)
    >>> y = np.array([3.0, 5, 7, 2, 6, 6, 4, 4, 9, 3, 5, 6])
    >>> fit = fit_reml(arrange(y, np.tile(np.eye(3), (4, 1)), block, {"block": block}))
    >>> round(satterthwaite_test(fit, np.array([[1.0, -1, 0], [1, 0, -1]])).df2, 6)
    6.0
    """
    rows = np.atleast_2d(contrasts)
    roots, directions = np.linalg.eigh(rows @ fit.phi @ rows.T)
    rotated = directions.T @ rows
    statistic = float(np.mean((rotated @ fit.beta) ** 2 / roots))
    df2 = _combined(_dfs(fit, rotated, observed))
    return FTest(statistic, float(len(rows)), df2, float(stats.f.sf(statistic, len(rows), df2)))


def _dfs(fit: RemlFit, rows: np.ndarray, observed: bool) -> np.ndarray:
    at = fit.at
    covariance = np.linalg.inv(at.observed if observed else at.expected)
    moved = rows @ at.phi
    gradient = np.einsum("la,kab,lb->lk", moved, at.p_terms, moved)
    variance = np.einsum("la,la->l", moved, rows)
    return 2 * variance**2 / np.einsum("lk,kj,lj->l", gradient, covariance, gradient)


def _combined(dfs: np.ndarray) -> float:
    """Return the df of the joint F; 2 where one direction has two or fewer and its mean is lost."""
    if np.ptp(dfs) < 1e-8 * dfs.max():
        return float(dfs.mean())
    if dfs.min() <= 2:
        return 2.0
    expected = float(np.sum(dfs / (dfs - 2)))
    return 2 * expected / (expected - len(dfs))
