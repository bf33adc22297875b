"""Treatment differences of any model: estimates, intervals, adjusted p values, bounds, letters."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.inference import multiplicity
from trialkit.inference.estimates import Bound, Link, MarginalMeans, ModelResult
from trialkit.inference.letters import letters
from trialkit.inference.multivariate_t import Pair
from trialkit.inference.scale import slope, to_response

CONTRAST_COLUMNS = ("treatment", "versus", "estimate", "se", "df", "low", "high", "p", "p_adjusted",
                    "ratio", "ratio_low", "ratio_high", "bound")  # fmt: skip

Columns = dict[str, np.ndarray]


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
    rows, bounded = _compared(result, pairs)
    adjustment = _adjust(result.means, pairs, rows, bounded, how, level)
    half = adjustment.critical * rows["se"]
    rows |= {"low": rows["estimate"] - half, "high": rows["estimate"] + half}
    rows |= {"p_adjusted": adjustment.p} | _ratios(rows, result.means.link)
    _put_bounds(rows, bounded)
    frame = pd.DataFrame({name: rows[name] for name in CONTRAST_COLUMNS})
    return ContrastTable(frame, adjustment.method)


def adjusted_p(result: ModelResult, pairs: tuple[Pair, ...], how: str, level: float) -> np.ndarray:
    """Return ``p_adjusted`` (m,) of :func:`contrast_table` without its intervals, which cost more.

    They are those of the same family, so that letters agree with a table of the same pairs.
    """
    rows, bounded = _compared(result, pairs)
    return _adjust(result.means, pairs, rows, bounded, how, level, intervals=False).p


def _compared(result: ModelResult, pairs: tuple[Pair, ...]) -> tuple[Columns, list[Bound | None]]:
    """Return differences, those that have only a bound being unknown, and the bounds."""
    rows = _differences(result, pairs)
    bounded = [bound_of(result, i, j) for i, j in pairs]
    estimable = np.isfinite(rows["se"]) & np.array([bound is None for bound in bounded])
    for name in ("estimate", "se", "df", "p"):
        rows[name] = np.where(estimable, rows[name], np.nan)
    return rows, bounded


def _differences(result: ModelResult, pairs: tuple[Pair, ...]) -> Columns:
    means = result.means
    i, j = np.array(pairs).T
    V = means.covariance
    estimate = means.estimate[i] - means.estimate[j]
    se = np.sqrt(np.maximum(V[i, i] + V[j, j] - 2 * V[i, j], 0))
    df = means.pair_df[i, j]
    with np.errstate(divide="ignore", invalid="ignore"):
        p = multiplicity.two_sided(estimate / se, df)
    names = np.array(means.treatments, dtype=object)
    return {"treatment": names[i], "versus": names[j], "estimate": estimate, "se": se, "df": df,
            "p": p}  # fmt: skip


def bound_of(result: ModelResult, i: int, j: int) -> Bound | None:
    """Return the bound of mean i over mean j, turned round if it was stated the other way."""
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
    means: MarginalMeans, pairs: tuple[Pair, ...], rows: Columns,
    bounded: list[Bound | None], how: str, level: float, intervals: bool = True,
) -> multiplicity.Adjustment:  # fmt: skip
    """Adjust over the whole family; with bounds in it, by Šidák's inequality."""
    known = np.isfinite(rows["se"])
    p, critical = np.full(len(known), np.nan), np.full(len(known), np.nan)
    t, df = (rows["estimate"] / rows["se"])[known], rows["df"][known]
    if known.all() or how == "none":
        kept = [pair for pair, keep in zip(pairs, known, strict=True) if keep]
        done = multiplicity.adjust(
            t, df, means.covariance, kept, how=how, level=level if intervals else None
        )
        p[known], critical[known], method = done.p, done.critical, done.method
    else:
        size, method = len(known), "Šidák's inequality over all comparisons, some of them bounds"
        p[known] = multiplicity.sidak(rows["p"][known], size)
        critical[known] = multiplicity.quantile(-np.expm1(np.log(level) / size), df)
    for n, bound in enumerate(bounded):
        if bound is not None and bound.p is not None:
            rows["p"][n] = bound.p
            p[n] = multiplicity.sidak(np.array([bound.p]), 1 if how == "none" else len(known))[0]
    return multiplicity.Adjustment(p, critical, method)


def _ratios(rows: Columns, link: Link) -> Columns:
    if link == "identity":
        nothing = np.full(len(rows["estimate"]), np.nan)
        return {"ratio": nothing, "ratio_low": nothing.copy(), "ratio_high": nothing.copy()}
    return {
        name: to_response(rows[source], "log")
        for name, source in (("ratio", "estimate"), ("ratio_low", "low"), ("ratio_high", "high"))
    }


def _put_bounds(rows: Columns, bounded: list[Bound | None]) -> None:
    """Write the ends of bounded contrasts into their rows, and the column ``bound``."""
    rows["bound"] = np.full(len(bounded), None, dtype=object)
    for n, bound in enumerate(bounded):
        if bound is not None:
            rows["ratio_low"][n], rows["ratio_high"][n] = bound.low, bound.high
            rows["low"][n], rows["high"][n] = _log(bound.low), _log(bound.high)
            rows["bound"][n] = "upper" if bound.low == 0 else "lower"


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
    shown = se * slope(means.estimate, means.link)
    low = to_response(means.estimate - half, means.link)
    high = to_response(means.estimate + half, means.link)
    for n, label in enumerate(means.treatments):
        if (label, "") in result.bounds:
            bound = result.bounds[label, ""]
            shown[n], low[n], high[n] = np.nan, bound.low, bound.high
    return pd.DataFrame(
        {
            "treatment": list(means.treatments),
            "mean": to_response(means.estimate, means.link),
            "se": shown,
            "df": means.df,
            "low": low,
            "high": high,
            "letters": letter,
            "n": means.n,
        }
    )


def letters_of(result: ModelResult, p_adjusted: np.ndarray, how: str, level: float) -> list[str]:
    """Return compact letters, ``a`` for the largest mean, from the p values of all pairs.

    Unadjusted letters are protected: where the F test of treatments finds nothing, all share one.
    """
    means = result.means
    k = len(means.treatments)
    differ = np.zeros((k, k), dtype=bool)
    for (i, j), p in zip(pairs_of(means, None), p_adjusted, strict=True):
        differ[i, j] = differ[j, i] = bool(p <= 1 - level)
    if how == "none" and not _any_difference(result, level):
        differ[:] = False
    order = np.argsort(-np.nan_to_num(means.estimate, nan=-np.inf, neginf=-1e308), kind="stable")
    found = letters(differ[np.ix_(order, order)])
    places = order.tolist()
    return [found[places.index(i)] for i in range(k)]


def _any_difference(result: ModelResult, level: float) -> bool:
    tests = result.tests
    p = tests.loc[tests["term"] == "treatment", "p"]
    return bool((p <= 1 - level).any())
