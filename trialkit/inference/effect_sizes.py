"""How large an effect is: standardised, relative, and as a share of variance, with intervals."""

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy import optimize, special

from trialkit.inference import fieller, multiplicity
from trialkit.inference.contrasts import bound_of
from trialkit.inference.effect import Effect
from trialkit.inference.estimates import MarginalMeans, ModelResult
from trialkit.inference.multivariate_t import Pair
from trialkit.inference.t_quadrature import scale_rule

EFFECT_COLUMNS = ("name", "kind", "treatment", "versus", "value", "low", "high", "note")


def effect_size_table(result: ModelResult, pairs: tuple[Pair, ...], level: float) -> pd.DataFrame:
    """Return the effect sizes that suit the family of a model (EFFECT_COLUMNS).

    Intervals are each at ``level``, not adjusted for their number. Normal: partial eta² and omega²
    of the treatment test; Hedges g, percent change and log response ratio of each pair. Models with
    a log link: percent change of each pair.
    """
    rows = _share_rows(result, level)
    link = result.means.link
    for i, j in pairs:
        found: dict[str, Effect] = {}
        if link == "identity" and result.family == "normal":
            found = normal_effects(result, i, j, level)
        elif link == "log":
            found = {"percent_change": _log_percent(result, i, j, level)}
        rows += [_row(kind, result.means, i, j, effect) for kind, effect in found.items()]
    return pd.DataFrame(rows, columns=list(EFFECT_COLUMNS))


def _row(kind: str, means: MarginalMeans, i: int, j: int, effect: Effect) -> tuple[object, ...]:
    a, b = means.treatments[i], means.treatments[j]
    return (f"{kind}({a} - {b})", kind, a, b, effect.value, effect.low, effect.high, effect.note)


def _share_rows(result: ModelResult, level: float) -> list[tuple[object, ...]]:
    if result.family not in ("normal", "lognormal"):
        return []
    columns = (result.tests[name].tolist() for name in ("term", "F", "df1", "df2"))
    rows = (row for term, *row in zip(*columns, strict=True) if term == "treatment")
    found = next((row for row in rows if np.isfinite(float(row[0]))), None)
    if found is None:
        return []
    F, df1, df2 = map(float, found)
    n = int(result.means.n.sum())
    eta = partial_eta_squared(F, df1, df2, n, level)
    omega = replace(eta, value=_omega_squared(F, df1, n))
    shares = {"partial_eta_squared": eta, "partial_omega_squared": omega}
    return [(k, k, "", "", e.value, e.low, e.high, e.note) for k, e in shares.items()]


def normal_effects(result: ModelResult, i: int, j: int, level: float) -> dict[str, Effect]:
    """Return Hedges g, percent change and log response ratio of mean i against mean j."""
    means, V = result.means, result.means.covariance
    df = float(means.pair_df[i, j])
    variance = V[i, i] + V[j, j] - 2 * V[i, j]
    difference = float(means.estimate[i] - means.estimate[j])
    found = {}
    if "mse" in result.extra:
        sd = float(np.sqrt(result.extra["mse"]))
        found["hedges_g"] = hedges_g(difference, sd, float(np.sqrt(variance)), df, level)
    elif "residual_df" in result.extra:
        spread = Spread(float(np.sqrt(result.components["residual"])), result.extra["residual_df"])
        found["hedges_g"] = mixed_hedges_g(
            difference, spread, float(np.sqrt(variance)), df, level=level
        )
    ratio = fieller.ratio_interval(
        (float(means.estimate[i]), float(means.estimate[j])),
        np.array([[V[i, i], V[i, j]], [V[i, j], V[j, j]]]),
        float(multiplicity.quantile(1 - level, np.array([df]))[0]),
    )
    found["percent_change"] = fieller.percent_change(ratio)
    found["log_response_ratio"] = fieller.log_response_ratio(ratio)
    return found


def _log_percent(result: ModelResult, i: int, j: int, level: float) -> Effect:
    """Percent change of a ratio on the log scale: 100 (exp(difference) - 1)."""
    means, V = result.means, result.means.covariance
    bound = bound_of(result, i, j)
    if bound is not None:
        return Effect(np.nan, 100 * (bound.low - 1), 100 * (bound.high - 1), bound.method)
    se = float(np.sqrt(V[i, i] + V[j, j] - 2 * V[i, j]))
    half = float(multiplicity.quantile(1 - level, means.pair_df[i, [j]])[0]) * se
    d = float(means.estimate[i] - means.estimate[j])
    value, low, high = (100 * float(np.expm1(min(x, 700.0))) for x in (d, d - half, d + half))
    return Effect(value, low, high)


def hedges_g(difference: float, sd: float, se: float, df: float, level: float = 0.95) -> Effect:
    """Standardised difference, d = difference / sd, corrected for small samples.

    g = d · (1 - 3 / (4 df - 1)) (Hedges 1981, J. Educ. Stat. 6:107; pingouin's correction with the
    residual df of the model), sd being the residual standard deviation. The interval inverts the
    noncentral t of difference / se (Steiger & Fouladi 1997) and carries the same correction.

    >>> effect = hedges_g(difference=2.0, sd=1.0, se=0.5, df=8.0)
    >>> [round(x, 3) for x in (effect.value, effect.low, effect.high)]
    [1.806, 0.538, 3.02]
    """
    # Imported here because pingouin loads plotting libraries that nothing else in this room needs.
    import pingouin

    # pingouin's correction depends on nx + ny - 2 only, which is the degrees of freedom.
    correction = float(pingouin.convert_effsize(1.0, "cohen", "hedges", nx=df + 1, ny=1))
    t, unit = difference / se, se / sd * correction
    low = _t_noncentrality(t, df, (1 + level) / 2)
    high = _t_noncentrality(t, df, (1 - level) / 2)
    return Effect(difference / sd * correction, low * unit, high * unit)


@dataclass(frozen=True)
class Spread:
    """A standard deviation with the degrees of freedom it is known on."""

    sd: float
    df: float


def mixed_hedges_g(
    difference: float, residual: Spread, se: float, df: float, *, level: float = 0.95
) -> Effect:
    """Standardised difference from a mixed model, corrected for small samples.

    The standardiser is the residual standard deviation s of the model: that of plots within a block
    of one environment, as for a single trial, without the variances of environments, blocks and
    treatment x environment, which are in the standard error of the difference only. With ν the
    degrees of freedom of s² (2 s⁴ over the variance of the component),

        g = J d,  d = difference / s,  J = 1 - 3 / (4 ν - 1),
        interval: g ± t(df) J sqrt(se² / s² + d² / (2 ν)),

    df those of the difference. Sources: Hedges 1981, J. Educ. Stat. 6:107, for J; the delta-method
    variance is that of Pustejovsky, Hedges & Shadish 2014, J. Educ. Behav. Stat. 39:368, to the
    first order (cited from memory; they choose another standardiser).

    >>> effect = mixed_hedges_g(2.0, Spread(1.0, 36.0), 0.5, 8.0)
    >>> [round(x, 3) for x in (effect.value, effect.low, effect.high)]
    [1.958, 0.71, 3.206]
    """
    correction = 1 - 3 / (4 * residual.df - 1)
    d = difference / residual.sd
    spread = np.sqrt((se / residual.sd) ** 2 + d**2 / (2 * residual.df))
    half = float(multiplicity.quantile(1 - level, np.array([df]))[0]) * float(spread)
    return Effect(correction * d, correction * (d - half), correction * (d + half))


def _t_noncentrality(t: float, df: float, p: float) -> float:
    """Return δ with P(T' <= t | δ) = E_s Φ(ts - δ) = p, s = chi_df / sqrt(df).

    By quadrature, as scipy's own function fails (NaN) in the far tails that bracketing visits.
    """
    s, weight = scale_rule(float(df))
    low, high = float(np.min(t * s)) - 9.0, float(np.max(t * s)) + 9.0
    return float(
        optimize.brentq(lambda nc: float(special.ndtr(t * s - nc) @ weight) - p, low, high)
    )


def partial_eta_squared(F: float, df1: float, df2: float, n: int, level: float = 0.95) -> Effect:
    """Share of variance that the term explains in the sample: F df1 / (F df1 + df2).

    The interval is that of the share in the population, λ / (λ + n), with λ the noncentralities for
    which the observed F is at the (1 ± level) / 2 points (Steiger 2004, Psychol. Methods 9:164).

    >>> effect = partial_eta_squared(F=5.0, df1=4, df2=50, n=55)
    >>> [round(x, 4) for x in (effect.value, effect.low, effect.high)]
    [0.2857, 0.0529, 0.4212]
    """
    low, high = share_interval(F, df1, df2, n, level)
    return Effect(F * df1 / (F * df1 + df2), low, high)


def partial_omega_squared(F: float, df1: float, df2: float, n: int, level: float = 0.95) -> Effect:
    """Share of variance in the population, nearly unbiased: df1 (F - 1) / (df1 (F - 1) + n).

    Below zero it is reported as zero. Interval as for ``partial_eta_squared``: both estimate the
    same share (Steiger 2004, Psychol. Methods 9:164).

    >>> round(partial_omega_squared(F=5.0, df1=4, df2=50, n=55).value, 4)
    0.2254
    """
    low, high = share_interval(F, df1, df2, n, level)
    return Effect(_omega_squared(F, df1, n), low, high)


def _omega_squared(F: float, df1: float, n: int) -> float:
    excess = df1 * (F - 1)
    return max(0.0, excess / (excess + n)) if excess + n > 0 else 0.0


def share_interval(F: float, df1: float, df2: float, n: int, level: float) -> tuple[float, float]:
    """Return the ends of λ / (λ + n), with P(F' <= F | λ) = (1 ± level) / 2; zero where none is."""
    ends = []
    for p in ((1 + level) / 2, (1 - level) / 2):
        nc = _f_noncentrality(F, df1, df2, p)
        ends.append(nc / (nc + n))
    return ends[0], ends[1]


def _f_noncentrality(F: float, df1: float, df2: float, p: float) -> float:
    if special.fdtr(df1, df2, F) <= p:
        return 0.0
    high = df1 * F + 10.0
    while special.ncfdtr(df1, df2, high, F) > p:
        high *= 2
    return float(
        optimize.brentq(lambda nc: special.ncfdtr(df1, df2, nc, F) - p, 1e-12, high, xtol=1e-10)
    )
