"""Pooling one quantity over site-seasons: random effects, honest intervals, what to expect next.

Log ratios y_i with standard errors s_i are pooled with weights 1 / (s_i² + tau²). The interval is
Hartung and Knapp's: the pooled variance is multiplied by Q / (k - 1), Q the weighted residual sum
of squares, and t with k - 1 degrees of freedom is used. It holds its level with three environments,
where the ordinary interval does not; but as Q may come out small by chance, the ordinary interval
takes its place where that is the wider.

The prediction interval is the usual one, ``t sqrt(tau² + se²)``. In simulated sets of 3 to 18
environments whose truth varies about as much as their standard errors (250 sets a case) it held the
next one in 86 to 95 %, where that of ``prediction``, which the analysis of counts uses, held 93 to
97 %.

Sources: Hartung & Knapp 2001, Stat. Med. 20:3875; Wiksten, Rücker & Schwarzer 2016, Stat. Med.
35:2503 (the safeguard); Higgins, Thompson & Spiegelhalter 2009, J. R. Stat. Soc. A 172:137
(prediction interval); Higgins & Thompson 2002, Stat. Med. 21:1539 (I²).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.inference.heterogeneity import (
    Evidence,
    Method,
    Solution,
    single,
    tau_squared,
    tau_squared_interval,
    typical_variance,
)


@dataclass(frozen=True)
class Pooled:
    """One quantity pooled over ``k`` environments, on the scale of the estimates (log ratio).

    estimate, se, df, low, high : the mean over environments; interval by t on ``df``.
    tau2                        : variance of the truth between environments.
    q, i2, i2_low, i2_high      : Q with weights 1 / s²; share (%) of variance that is not chance.
    prediction_low, _high       : interval for the truth of one new environment.
    safeguarded                 : the ordinary interval stands in, being wider than Hartung-Knapp's.
    """

    estimate: float
    se: float
    df: float
    low: float
    high: float
    tau2: float
    q: float
    q_p: float
    i2: float
    i2_low: float
    i2_high: float
    prediction_low: float
    prediction_high: float
    k: int
    method: str
    safeguarded: bool
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Step:
    """The pooled result after adding (or leaving out) what ``label`` names."""

    label: str
    pooled: Pooled


def pool(
    estimates: Sequence[float] | np.ndarray,
    standard_errors: Sequence[float] | np.ndarray,
    *,
    method: Method = "REML",
    level: float = 0.95,
    df: float | None = None,
    safeguard: bool = True,
) -> Pooled:
    """Pool ``estimates`` (k,) with ``standard_errors`` (k,) over environments.

    ``method`` estimates tau² ("REML", "Paule-Mandel" or "DerSimonian-Laird"); ``df`` replaces the
    k - 1 degrees of freedom of the interval; ``safeguard=False`` keeps Hartung and Knapp's interval
    even where the ordinary one is wider. Raises AnalysisError for fewer than two environments and
    for estimates or standard errors that are not finite or not positive.

    >>> done = pool([-0.9, -0.4, -0.7, -0.2], [0.2, 0.3, 0.25, 0.2])
    >>> round(done.estimate, 4), round(done.low, 4), round(done.high, 4), done.df
    (-0.5563, -1.0749, -0.0377, 3.0)
    """
    values, errors = _checked(estimates, standard_errors)
    evidence = single(values, errors)
    at = evidence.solve(tau_squared(evidence, method))
    reference = float(evidence.df if df is None else df)
    se, df_used, safeguarded = _spread(at, evidence.df, reference, level, safeguard)
    estimate = float(at.beta[0])
    reach = float(stats.t.ppf((1 + level) / 2, df_used)) * se
    further = float(stats.t.ppf((1 + level) / 2, reference)) * float(np.hypot(at.tau2**0.5, se))
    q = evidence.at_zero.q
    i2, i2_low, i2_high = _inconsistency(evidence, at.tau2, level)
    return Pooled(
        estimate=estimate,
        se=se,
        df=df_used,
        low=estimate - reach,
        high=estimate + reach,
        tau2=at.tau2,
        q=q,
        q_p=float(stats.chi2.sf(q, evidence.df)),
        i2=i2,
        i2_low=i2_low,
        i2_high=i2_high,
        prediction_low=estimate - further,
        prediction_high=estimate + further,
        k=len(values),
        method=_method(method, safeguarded),
        safeguarded=safeguarded,
        notes=_notes(len(values), at.tau2, safeguarded),
    )


def cumulative(
    estimates: Sequence[float] | np.ndarray,
    standard_errors: Sequence[float] | np.ndarray,
    seasons: Sequence[object],
    *,
    method: Method = "REML",
    level: float = 0.95,
) -> tuple[Step, ...]:
    """Return the evidence season by season: pooled over all environments up to each season.

    ``seasons`` (k,) sort in time. The first step may rest on one environment; its interval is then
    that environment's own and it has no prediction interval.
    """
    values, errors = _checked(estimates, standard_errors, least=1)
    when = np.asarray(seasons)
    steps = []
    for season in np.unique(when):
        so_far = when <= season
        if so_far.sum() == 1:
            done = _alone(float(values[so_far][0]), float(errors[so_far][0]), level)
        else:
            done = pool(values[so_far], errors[so_far], method=method, level=level)
        steps.append(Step(str(season), done))
    return tuple(steps)


def leave_one_out(
    estimates: Sequence[float] | np.ndarray,
    standard_errors: Sequence[float] | np.ndarray,
    labels: Sequence[object],
    *,
    method: Method = "REML",
    level: float = 0.95,
) -> tuple[Step, ...]:
    """Return the pooled result without each environment in turn; needs at least three."""
    values, errors = _checked(estimates, standard_errors, least=3)
    rest = [np.arange(len(values)) != i for i in range(len(values))]
    return tuple(
        Step(str(label), pool(values[keep], errors[keep], method=method, level=level))
        for label, keep in zip(labels, rest, strict=True)
    )


def _checked(
    estimates: Sequence[float] | np.ndarray,
    standard_errors: Sequence[float] | np.ndarray,
    least: int = 2,
) -> tuple[np.ndarray, np.ndarray]:
    values, errors = np.asarray(estimates, dtype=float), np.asarray(standard_errors, dtype=float)
    if values.shape != errors.shape or values.ndim != 1:
        raise AnalysisError("Pooling needs one standard error for each estimate.")
    if len(values) < least:
        raise AnalysisError(
            f"Pooling needs at least {least} environments, and {len(values)} has an estimate. "
            "Report that environment on its own."
        )
    if not (np.isfinite(values).all() and np.isfinite(errors).all() and (errors > 0).all()):
        raise AnalysisError(
            "An estimate or standard error to be pooled is not finite, or not above zero. Give an "
            "environment that yields only a bound a bias-reduced estimate with its standard error."
        )
    return values, errors


def _spread(
    at: Solution, df: int, reference: float, level: float, safeguard: bool
) -> tuple[float, float, bool]:
    """Return standard error, degrees of freedom, and whether the ordinary interval stands in."""
    ordinary = float(np.sqrt(at.phi[0, 0]))
    adjusted = ordinary * float(np.sqrt(at.q / df))
    tail = (1 + level) / 2
    wider = float(stats.norm.ppf(tail)) * ordinary > float(stats.t.ppf(tail, reference)) * adjusted
    if safeguard and wider:
        return ordinary, np.inf, True
    return adjusted, reference, False


def _inconsistency(evidence: Evidence, tau2: float, level: float) -> tuple[float, float, float]:
    """Return I² in percent with its interval, from tau² and the interval of tau²."""
    within = typical_variance(evidence)
    low, high = tau_squared_interval(evidence, level)
    share = [100 * value / (value + within) for value in (tau2, low, high)]
    return share[0], share[1], share[2]


def _alone(estimate: float, se: float, level: float) -> Pooled:
    reach = float(stats.norm.ppf((1 + level) / 2)) * se
    nothing = float("nan")
    return Pooled(
        estimate, se, np.inf, estimate - reach, estimate + reach,
        nothing, 0.0, nothing, nothing, nothing, nothing, nothing, nothing, 1,
        "One environment, with its own standard error", False,
        ("One environment cannot show how much the effect differs between environments.",),
    )  # fmt: skip


def _method(method: Method, safeguarded: bool) -> str:
    interval = "ordinary interval" if safeguarded else "Hartung-Knapp interval"
    return f"Random effects over environments ({method} variance between them), {interval}"


def _notes(k: int, tau2: float, safeguarded: bool) -> tuple[str, ...]:
    notes = []
    if safeguarded:
        notes.append(
            "The environments agree more closely than their standard errors allow for, by chance; "
            "the ordinary interval is given because the Hartung-Knapp interval would be narrower."
        )
    if tau2 == 0:
        notes.append("No variation between environments is seen beyond that within them.")
    if k < 5:
        notes.append(
            f"With {k} environments the variation between them is poorly known; the prediction "
            "interval is a rough guide."
        )
    return tuple(notes)
