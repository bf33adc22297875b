"""Kenward and Roger's adjusted covariance, degrees of freedom and scaled F.

With W the covariance of the components (inverse expected information), p_k = X'V^-1 G_k V^-1 X and
q_kl = X'V^-1 G_k V^-1 G_l V^-1 X, the covariance of the fixed effects becomes

    Phi_A = Phi + 2 Phi [ sum_kl W_kl (q_kl - p_k Phi p_l) ] Phi,

which adds what estimating the components costs, and L beta is tested by lambda F on l and m
degrees of freedom, both from the mean and variance that F would have. In a balanced study Phi_A
equals Phi and m is the classical denominator.

Source: Kenward & Roger 1997, Biometrics 53:983; the small-denominator forms are those of the same
paper, section 4, as also in Halekoh & Højsgaard 2014, J. Stat. Software 59(9).
"""

from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import special

from trialkit.inference.reml import RemlFit

LEAST_DF = 0.9
POLE = 1e-9


@dataclass(frozen=True)
class FTest:
    """A scaled F statistic: ``statistic`` already includes ``scaling``; ``p`` is its tail."""

    statistic: float
    df1: float
    df2: float
    p: float
    scaling: float = 1.0


@dataclass(frozen=True)
class KenwardRoger:
    """Adjusted inference on the fixed effects of a REML fit.

    >>> import numpy as np
    >>> from trialkit.inference.block_algebra import arrange
    >>> from trialkit.inference.reml import fit_reml
    >>> block = np.repeat(np.arange(4), 3)
    >>> x = np.tile(np.eye(3), (4, 1))
    >>> y = np.array([3.0, 5, 7, 2, 6, 6, 4, 4, 9, 3, 5, 6])
    >>> adjusted = KenwardRoger(fit_reml(arrange(y, x, block, {"block": block})))
    >>> test = adjusted.f_test(np.array([[1.0, -1, 0], [1, 0, -1]]))
    >>> round(test.df2, 9), round(test.statistic, 6)   # blocks x treatments: 6; F of the RCBD
    (6.0, 12.0)
    """

    fit: RemlFit

    @cached_property
    def component_covariance(self) -> np.ndarray:
        """Return (K, K) covariance of the components, in scaled units."""
        return np.linalg.inv(self.fit.at.expected)

    @cached_property
    def covariance(self) -> np.ndarray:
        """Return (p, p) adjusted covariance of the fixed effects, in response units squared."""
        at, w = self.fit.at, self.component_covariance
        explained = at.p_terms[:, None] @ at.phi @ at.p_terms[None, :]
        middle = np.einsum("kl,klab->ab", w, at.q_terms - explained)
        adjusted = at.phi + 2 * at.phi @ middle @ at.phi
        return (adjusted + adjusted.T) / 2 * self.fit.scale**2

    def f_test(self, contrasts: np.ndarray) -> FTest:
        """Test that every row of ``contrasts`` (l, p) times beta is zero."""
        rows = np.atleast_2d(contrasts)
        value = rows @ self.fit.beta
        wald = value @ np.linalg.solve(rows @ self.covariance @ rows.T, value) / len(rows)
        scaling, df2 = self._scaling_and_df(rows)
        statistic = float(scaling * wald)
        tail = float(special.fdtrc(len(rows), df2, statistic))
        return FTest(statistic, float(len(rows)), df2, tail, scaling)

    def dfs(self, contrasts: np.ndarray) -> np.ndarray:
        """Return the degrees of freedom (m,) of each row of ``contrasts`` (m, p) on its own."""
        at = self.fit.at
        moved = contrasts @ at.phi
        gradient = np.einsum("ma,kab,mb->mk", moved, at.p_terms, moved)
        variance = np.einsum("ma,ma->m", moved, contrasts)
        spread = np.einsum("mk,kl,ml->m", gradient, self.component_covariance, gradient)
        return 2 * variance**2 / spread

    def is_sound(self, hypotheses: Collection[np.ndarray], contrasts: np.ndarray) -> bool:
        """Say whether the approximation holds for tests (l, p) and single ``contrasts`` (m, p).

        Next to a singular covariance it breaks: variances below zero, or degrees of freedom that
        are negative or below those of two environments.
        """
        variances = np.einsum("ma,ab,mb->m", contrasts, self.covariance, contrasts)
        if variances.min() <= 0 or self.dfs(contrasts).min() < LEAST_DF:
            return False
        tests = [self.f_test(rows) for rows in hypotheses]
        return all(test.df2 >= LEAST_DF and 0 <= test.p <= 1 for test in tests)

    def _scaling_and_df(self, rows: np.ndarray) -> tuple[float, float]:
        at, size = self.fit.at, len(rows)
        middle = rows.T @ np.linalg.solve(rows @ at.phi @ rows.T, rows)
        moved = middle @ at.phi @ at.p_terms @ at.phi
        singles = np.einsum("kaa->k", moved)
        pairs = np.einsum("kab,lba->kl", moved, moved)
        a1 = float(singles @ self.component_covariance @ singles)
        a2 = float(np.sum(self.component_covariance * pairs))
        return _match_moments(a1, a2, size)


def _match_moments(a1: float, a2: float, size: int) -> tuple[float, float]:
    """Return scaling and denominator degrees of freedom from Kenward and Roger's A1 and A2."""
    if size == 1:
        return 1.0, 2 / a2
    b = (a1 + 6 * a2) / (2 * size)
    g = ((size + 1) * a1 - (size + 4) * a2) / ((size + 2) * a2)
    divisor = 3 * size + 2 * (1 - g)
    c1, c2, c3 = g / divisor, (size - g) / divisor, (size + 2 - g) / divisor
    # Mean 1 / shrink and variance of F are infinite at 2 and 4 degrees of freedom; written without
    # them, the formula runs through these points.
    shrink = 1 - a2 / size
    spread, pole = (1 + c1 * b) * shrink**2, (1 - c2 * b) ** 2 * (1 - c3 * b)
    if abs(spread - pole) < POLE:  # both are zero at 2 degrees of freedom
        return 1.0, 2 * size / a2
    df2 = 4 + (size + 2) * pole / (spread - pole)
    return df2 * shrink / (df2 - 2), df2
