"""Treatment differences of any model: estimates, intervals, adjusted p values, bounds, letters."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.inference import multiplicity
from trialkit.inference.estimates import Bound, MarginalMeans, ModelResult
from trialkit.inference.letters import letters
from trialkit.inference.multivariate_t import Pair
from trialkit.inference.scale import slope, to_response

CONTRAST_COLUMNS = ("treatment", "versus", "estimate", "se", "df", "low", "high", "p", "p_adjusted",
                    "ratio", "ratio_low", "ratio_high", "bound")  # fmt: skip


@dataclass(frozen=True)
class ContrastTable:
    """Contrasts (CONTRAST_COLUMNS) and how they were adjusted, in words."""

    frame: pd.DataFrame
    method: str


def pairs_of(means: MarginalMeans, control: str | None) -> tuple[Pair, ...]:
    """Return (treatment, versus) index pairs: all against the check, or later against earlier."""
    k = len(means.treatments)
    if control is not None:
        hub = means.treatments.index(control)
        return tuple((i, hub) for i in range(k) if i != hub)
    return tuple((j, i) for i in range(k) for j in range(i + 1, k))


def contrast_table(
    result: ModelResult, pairs: tuple[Pair, ...], how: str, level: float
) -> ContrastTable:
    """Compare pairs of marginal means, adjusted as one family.

    The estimate is a difference on the link scale; its exponential is a ratio (odds ratio for
    logit). A pair listed in ``result.bounds`` has only one end, which stands as it is at the level
    its model gave it; the other pairs then are adjusted by Šidák's inequality over the family.
    """
    rows = _differences(result, pairs)
    bounded = [_bound(result, i, j) for i, j in pairs]
    estimable = np.isfinite(rows["se"].to_numpy()) & np.array([b is None for b in bounded])
    rows.loc[~estimable, ["estimate", "se", "df", "p"]] = np.nan
    adjustment = _adjust(result.means, pairs, rows, bounded, how, level)
    half = adjustment.critical * rows["se"]
    rows = rows.assign(
        low=rows["estimate"] - half, high=rows["estimate"] + half, p_adjusted=adjustment.p
    )
    rows = _with_ratios(rows, bounded, result.means.link)
    return ContrastTable(rows[list(CONTRAST_COLUMNS)], adjustment.method)


def _differences(result: ModelResult, pairs: tuple[Pair, ...]) -> pd.DataFrame:
    means = result.means
    i, j = np.array(pairs).T
    V = means.covariance
    estimate = means.estimate[i] - means.estimate[j]
    se = np.sqrt(np.maximum(V[i, i] + V[j, j] - 2 * V[i, j], 0))
    df = means.pair_df[i, j]
    with np.errstate(divide="ignore", invalid="ignore"):
        p = multiplicity.two_sided(estimate / se, df)
    names = np.array(means.treatments, dtype=object)
    return pd.DataFrame({"treatment": names[i], "versus": names[j], "estimate": estimate,
                         "se": se, "df": df, "p": p})  # fmt: skip


def _bound(result: ModelResult, i: int, j: int) -> Bound | None:
    a, b = result.means.treatments[i], result.means.treatments[j]
    if (a, b) in result.bounds:
        return result.bounds[a, b]
    if (b, a) not in result.bounds:
        return None
    turned = result.bounds[b, a]
    return Bound(_inverse(turned.high), _inverse(turned.low), turned.method, turned.p)


def _inverse(ratio: float) -> float:
    if ratio == 0:
        return np.inf
    return 0.0 if np.isinf(ratio) else 1 / ratio


def _adjust(
    means: MarginalMeans, pairs: tuple[Pair, ...], rows: pd.DataFrame,
    bounded: list[Bound | None], how: str, level: float,
) -> multiplicity.Adjustment:  # fmt: skip
    """Adjust over the whole family; with bounds in it, by Šidák's inequality."""
    known = rows["se"].notna().to_numpy()
    p, critical = np.full(len(rows), np.nan), np.full(len(rows), np.nan)
    t, df = (rows["estimate"] / rows["se"]).to_numpy()[known], rows["df"].to_numpy()[known]
    if known.all() or how == "none":
        kept = [pair for pair, keep in zip(pairs, known, strict=True) if keep]
        done = multiplicity.adjust(t, df, means.covariance, kept, how=how, level=level)
        p[known], critical[known], method = done.p, done.critical, done.method
    else:
        size, method = len(rows), "Šidák's inequality over all comparisons, some of them bounds"
        p[known] = multiplicity.sidak(rows["p"].to_numpy()[known], size)
        critical[known] = multiplicity.quantile(-np.expm1(np.log(level) / size), df)
    for n, bound in enumerate(bounded):
        if bound is not None and bound.p is not None:
            size = 1 if how == "none" else len(rows)
            rows.loc[n, "p"] = bound.p
            p[n] = multiplicity.sidak(np.array([bound.p]), size)[0]
    return multiplicity.Adjustment(p, critical, method)


def _with_ratios(rows: pd.DataFrame, bounded: list[Bound | None], link: str) -> pd.DataFrame:
    rows = rows.assign(ratio=np.nan, ratio_low=np.nan, ratio_high=np.nan, bound=None)
    if link != "identity":
        for name, source in (("ratio", "estimate"), ("ratio_low", "low"), ("ratio_high", "high")):
            rows[name] = to_response(rows[source].to_numpy(), "log")
    rows["bound"] = rows["bound"].astype(object)
    for n, bound in enumerate(bounded):
        if bound is not None:
            rows.loc[n, ["ratio_low", "ratio_high"]] = [bound.low, bound.high]
            rows.loc[n, ["low", "high"]] = [_log(bound.low), _log(bound.high)]
            rows.at[n, "bound"] = "upper" if bound.low == 0 else "lower"
    return rows


def _log(ratio: float) -> float:
    return -np.inf if ratio == 0 else float(np.log(ratio))


def means_table(result: ModelResult, level: float, letter: list[str]) -> pd.DataFrame:
    """Return the marginal means on the response scale with their own intervals.

    Interval: link-scale mean ± t · se, transformed back; ``se`` by the delta method. A mean that
    has only a bound (``result.bounds[treatment, ""]``) has no standard error.
    """
    means = result.means
    se = np.sqrt(np.diag(means.covariance))
    half = multiplicity.quantile(1 - level, means.df) * se
    table = pd.DataFrame(
        {
            "treatment": list(means.treatments),
            "mean": to_response(means.estimate, means.link),
            "se": se * slope(means.estimate, means.link),
            "df": means.df,
            "low": to_response(means.estimate - half, means.link),
            "high": to_response(means.estimate + half, means.link),
            "letters": letter,
            "n": means.n,
        }
    )
    for n, label in enumerate(means.treatments):
        if (label, "") in result.bounds:
            bound = result.bounds[label, ""]
            table.loc[n, ["se", "low", "high"]] = [np.nan, bound.low, bound.high]
    return table


def treatment_letters(result: ModelResult, how: str, level: float) -> list[str]:
    """Return compact letters over all pairs, ``a`` for the largest mean.

    Unadjusted letters are protected: where the F test of treatments finds nothing, all share one.
    """
    means = result.means
    k = len(means.treatments)
    pairs = pairs_of(means, None)
    table = contrast_table(result, pairs, "tukey" if how == "dunnett" else how, level).frame
    differ = np.zeros((k, k), dtype=bool)
    for (i, j), p in zip(pairs, table["p_adjusted"], strict=True):
        differ[i, j] = differ[j, i] = bool(p <= 1 - level)
    if how == "none" and not _any_difference(result, level):
        differ[:] = False
    order = np.argsort(-np.nan_to_num(means.estimate, nan=-np.inf, neginf=-1e308), kind="stable")
    found = letters(differ[np.ix_(order, order)])
    return [found[list(order).index(i)] for i in range(k)]


def _any_difference(result: ModelResult, level: float) -> bool:
    tests = result.tests
    p = tests.loc[tests["term"] == "treatment", "p"]
    return bool((p <= 1 - level).any())
