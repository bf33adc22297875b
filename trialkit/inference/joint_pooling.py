"""All treatments pooled over environments at once, with one variance between environments.

Environment i gives contrasts of its treatments with covariance S_i. The truth is let vary by
treatment and environment: every treatment's deviation has variance tau² / 2, so that every ratio of
two treatments varies by tau² (the usual assumption of a network of comparisons; Higgins &
Whitehead 1996, Stat. Med. 15:2733). Estimates are generalised least squares at the estimated tau²;
their covariance is multiplied by Q / df, Hartung and Knapp's factor for several estimates (Jackson
& Riley 2014, Biom. J. 56:1072), and t and F use those df = (environments - 1)(treatments - 1).

One variance for all ratios instead of one for each is what makes three environments enough: with
five treatments the factor rests on 8 degrees of freedom, as the classical test of treatments across
environments does, and not on 2.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.inference.first_stage import FirstStage
from trialkit.inference.heterogeneity import Evidence, Method, tau_squared
from trialkit.inference.kenward_roger import FTest
from trialkit.inference.prediction import NewEnvironment, predict

WEIGHT_ROUNDS = 4
TAIL = 0.975
RARE = 0.001
Group = tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]


@dataclass(frozen=True)
class JointFit:
    """Treatment effects pooled over m environments.

    effects    : (k,) on the link, summing to zero; covariance, (k, k) with the factor in it.
    levels     : (m,) link level of each environment at average treatment.
    tau2       : variance of a ratio's truth between environments; factor, Hartung-Knapp's.
    df         : degrees of freedom of all contrasts.
    q          : Q with the weights of tau² = 0.
    variances  : per group, the (d, q, q) covariances within environments.
    evidence   : the differences to the first treatment that were pooled; None with one treatment.
    held       : whether the safeguard kept the factor from falling lower.
    """

    effects: np.ndarray
    covariance: np.ndarray
    levels: np.ndarray
    tau2: float
    factor: float
    df: int
    q: float
    variances: tuple[np.ndarray, ...]
    evidence: Evidence | None = None
    held: bool = False

    def ratio(self, i: int) -> tuple[float, float]:
        """Return the log ratio of treatment ``i`` to the first, and its standard error."""
        c = self.covariance
        se = float(np.sqrt(c[i, i] + c[0, 0] - 2 * c[i, 0]))
        return float(self.effects[i] - self.effects[0]), se

    @cached_property
    def _new_environment(self) -> NewEnvironment | None:
        return None if self.evidence is None else predict(self.evidence)

    def prediction(self, i: int, level: float) -> tuple[float, float]:
        """Return where the log ratio of treatment ``i`` to the first is expected next.

        Never narrower than the interval of the pooled ratio, which the likely values of tau² may
        leave wider where the environments agree by chance.
        """
        estimate, se = self.ratio(i)
        reach = float(stats.t.ppf((1 + level) / 2, self.df)) * se
        low, high = estimate - reach, estimate + reach
        if self._new_environment is None:
            return low, high
        contrast = np.eye(len(self.effects) - 1)[i - 1]
        ends = self._new_environment.interval(contrast, level)
        return min(low, ends[0]), max(high, ends[1])

    def f_test(self) -> FTest:
        """Test that all treatments are equal."""
        k = len(self.effects)
        contrasts = np.column_stack([-np.ones(k - 1), np.eye(k - 1)])
        values = contrasts @ self.effects
        spread = contrasts @ self.covariance @ contrasts.T
        statistic = float(values @ np.linalg.solve(spread, values)) / (k - 1)
        return FTest(statistic, k - 1.0, self.df, float(stats.f.sf(statistic, k - 1, self.df)))


def pool_jointly(stage: FirstStage, k: int, method: Method) -> JointFit:
    """Pool the ``k`` treatments of a first stage.

    The covariances within environments depend on the common effects, so both are improved in turn.
    Hartung and Knapp's factor is not let fall without end (the safeguard, see ``_least_factor``).
    """
    effects = np.zeros(k)
    if k == 1:
        return _single(stage)
    for _ in range(WEIGHT_ROUNDS):
        variances, levels = stage.covariances(effects)
        evidence = _evidence(stage, variances, k)
        solution = evidence.solve(tau_squared(evidence, "DerSimonian-Laird"))
        effects = _centred(k) @ solution.beta
    solution = evidence.solve(tau_squared(evidence, method))
    least = _least_factor(k, evidence.df)
    factor = max(solution.q / evidence.df, least)
    spread = _centred(k)
    return JointFit(
        effects=spread @ solution.beta,
        covariance=factor * spread @ solution.phi @ spread.T,
        levels=levels,
        tau2=solution.tau2,
        factor=factor,
        df=evidence.df,
        q=evidence.at_zero.q,
        variances=tuple(variances),
        evidence=evidence,
        held=factor == least,
    )


def _least_factor(k: int, df: int) -> float:
    """Return what Hartung and Knapp's factor of ``k`` treatments is kept at or above.

    With one ratio their 95 % interval is not let become narrower than the ordinary one (normal,
    factor 1). With several the factor rests on more and keeps its own value, but for one lower than
    chance leaves in one study in a thousand: few whole numbers can agree perfectly by accident.
    """
    if k == 2:
        return float(stats.norm.ppf(TAIL) / stats.t.ppf(TAIL, df)) ** 2
    return float(stats.chi2.ppf(RARE, df) / df)


def _single(stage: FirstStage) -> JointFit:
    """Return the fit of one treatment: nothing to pool but the levels."""
    variances, levels = stage.covariances(np.zeros(1))
    return JointFit(
        effects=np.zeros(1),
        covariance=np.zeros((1, 1)),
        levels=levels,
        tau2=0.0,
        factor=1.0,
        df=0,
        q=0.0,
        variances=tuple(variances),
    )


def _centred(k: int) -> np.ndarray:
    """Return (k, k - 1): effects that sum to zero from differences to the first treatment."""
    return np.vstack([np.zeros(k - 1), np.eye(k - 1)]) - 1 / k


def _evidence(stage: FirstStage, variances: list[np.ndarray], k: int) -> Evidence:
    """Return every environment's differences to its own first treatment, as evidence."""
    groups: list[Group] = []
    from_first = np.vstack([np.zeros(k - 1), np.eye(k - 1)])
    for group, fit, variance in zip(stage.groups, stage.fits, variances, strict=True):
        q, d = len(group.treatments), len(group.places)
        if q < 2:
            continue
        contrast = np.column_stack([-np.ones(q - 1), np.eye(q - 1)])
        x = contrast @ from_first[group.treatments]
        shared = contrast @ contrast.T / 2
        groups.append(
            (
                fit.coefficients[:, :q] @ contrast.T,
                contrast @ variance @ contrast.T,
                np.broadcast_to(x, (d, *x.shape)),
                np.broadcast_to(shared, (d, *shared.shape)),
            )
        )
    _check_connected(groups, k)
    return Evidence(tuple(groups))


def _check_connected(groups: list[Group], k: int) -> None:
    """Raise AnalysisError where ratios cannot be formed, or nothing shows how they vary."""
    rows = np.concatenate([x.reshape(-1, k - 1) for _, _, x, _ in groups] or [np.zeros((1, k - 1))])
    if np.linalg.matrix_rank(rows) < k - 1:
        raise AnalysisError(
            "Some treatments never meet the others in an environment that says something of them, "
            "so their ratios cannot be pooled. Leave those treatments out."
        )
    if len(rows) < k:
        raise AnalysisError(
            "No ratio is met in two environments, so nothing shows how ratios vary between "
            "environments. Report the environments one at a time."
        )
