"""From an analysis to tidy rows of means and effects, on the scale that a grower reads."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from trialkit.columns import EFFECTS, MEANS
from trialkit.findings.verdict import judge
from trialkit.inference import Analysis, fieller
from trialkit.inference.points import points_interval
from trialkit.inference.standardisation import block_shifts
from trialkit.study import Measure, Study
from trialkit.study.units import is_quantity, to_canonical

NAN = float("nan")


@dataclass(frozen=True)
class Scope:
    """Where rows of findings belong: a season and a site, or the whole study."""

    season: int
    site: str


@dataclass(frozen=True)
class Effect:
    """An effect on the scale that people read, with its interval and the margin on that scale."""

    value: float
    low: float
    high: float
    unit: str
    margin: float


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows of a frame as dicts by column name."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


def mean_rows(measure: Measure, analysis: Analysis, scope: Scope) -> pd.DataFrame:
    """Rows of MEANS of one analysis; means in the measure's canonical unit.

    Proportions come as percent, counts per unit of exposure. No measure can be negative, so an
    interval that reaches below zero stops there.
    """
    scale = 100.0 if measure.family == "proportion" else 1.0
    means = _with_extremes(analysis)
    means[["mean", "se", "low", "high"]] = means[["mean", "se", "low", "high"]] * scale
    means["low"] = means["low"].clip(lower=0.0)
    return means.assign(season=scope.season, site=scope.site, measure=measure.id)[list(MEANS)]


def _with_extremes(analysis: Analysis) -> pd.DataFrame:
    """Means with those that are only bounded at what was seen: nothing, or nothing else."""
    means = analysis.means.copy()
    for place, treatment in enumerate(means["treatment"]):
        bound = analysis.model.bounds.get((treatment, ""))
        if bound is not None:
            means.loc[means.index[place], "mean"] = bound.low if bound.low == 0 else bound.high
    return means


def effect_rows(study: Study, measure: Measure, analysis: Analysis, scope: Scope) -> pd.DataFrame:
    """Rows of EFFECTS of one analysis, one per treatment against the check."""
    rows = [
        _effect_row(study, measure, analysis, contrast, scope)
        for contrast in records(analysis.contrasts)
    ]
    return pd.DataFrame(rows, columns=list(EFFECTS))


def _effect_row(
    study: Study, measure: Measure, analysis: Analysis, contrast: dict[str, Any], scope: Scope
) -> dict[str, Any]:
    effect = _effect(study, measure, analysis, contrast)
    verdict = judge(effect.low, effect.high, effect.margin, measure.lower_is_better)
    return {
        **contrast,
        **_hedges(analysis, contrast),
        "season": scope.season,
        "site": scope.site,
        "measure": measure.id,
        "effect": effect.value,
        "effect_low": effect.low,
        "effect_high": effect.high,
        "effect_unit": effect.unit,
        "margin": effect.margin,
        "verdict": verdict.word,
        "direction": verdict.direction,
        "bound": contrast["bound"] if isinstance(contrast["bound"], str) else "",
    }


def _effect(study: Study, measure: Measure, analysis: Analysis, contrast: dict[str, Any]) -> Effect:
    family = analysis.design.family
    if family in ("count", "lognormal"):
        return _relative(study, measure, analysis, contrast)
    if family == "proportion":
        return _points(measure, analysis, contrast)
    if family == "normal" and measure.margin_unit == "percent":
        return _percent_of_check(measure, analysis, contrast)
    return _difference(study, measure, contrast)


def _relative(
    study: Study, measure: Measure, analysis: Analysis, contrast: dict[str, Any]
) -> Effect:
    """A ratio as percent change; a margin in units becomes percent of the check's mean."""
    ends = (contrast["ratio"], contrast["ratio_low"], contrast["ratio_high"])
    value, low, high = (100.0 * (_number(ratio) - 1.0) for ratio in ends)
    margin = measure.margin
    if measure.margin_unit == "units":
        margin = 100.0 * margin_in_units(study, measure) / _check_mean(analysis, contrast)
    return Effect(value, low, high, "percent", margin)


def _points(measure: Measure, analysis: Analysis, contrast: dict[str, Any]) -> Effect:
    """An odds ratio as a difference in percentage points.

    In one trial averaged over its blocks, the check's own percentage being in doubt as well; of
    bounds and of combined trials at the check's own percentage.
    """
    check = _check_mean(analysis, contrast)
    odds = check / (1.0 - check) if check < 1.0 else math.inf
    ends = (contrast["ratio"], contrast["ratio_low"], contrast["ratio_high"])
    value, low, high = (100.0 * (_share(odds * _number(ratio)) - check) for ratio in ends)
    if "environment" not in analysis.design.frame and not isinstance(contrast["bound"], str):
        value, low, high = _standardised(analysis, contrast)
    margin = measure.margin
    if measure.margin_unit == "percent":
        margin = measure.margin * check
    return Effect(value, low, high, "points", margin)


def _standardised(analysis: Analysis, contrast: dict[str, Any]) -> tuple[float, float, float]:
    """Percentage points over the trial's blocks, as wide as the contrast's own interval."""
    means = analysis.model.means
    pair = [means.treatments.index(contrast[name]) for name in ("treatment", "versus")]
    found = points_interval(
        means.estimate[pair],
        means.covariance[np.ix_(pair, pair)],
        block_shifts(analysis.design),
        (contrast["high"] - contrast["estimate"]) / contrast["se"],
    )
    return 100 * found.value, 100 * found.low, 100 * found.high


def _percent_of_check(measure: Measure, analysis: Analysis, contrast: dict[str, Any]) -> Effect:
    """Percent of the check's mean by Fieller, as wide as the contrast's own adjusted interval."""
    means = analysis.model.means
    pair = [means.treatments.index(contrast[name]) for name in ("treatment", "versus")]
    critical = (contrast["high"] - contrast["estimate"]) / contrast["se"]
    ratio = fieller.ratio_interval(
        (float(means.estimate[pair[0]]), float(means.estimate[pair[1]])),
        means.covariance[np.ix_(pair, pair)],
        critical,
    )
    change = fieller.percent_change(ratio)
    is_open = math.isnan(change.low)
    # A mean below nothing cannot be: where the interval reaches past -100 % it stops there.
    low, high = (-math.inf, math.inf) if is_open else (max(change.low, -100.0), change.high)
    return Effect(change.value, low, high, "percent", measure.margin)


def _difference(study: Study, measure: Measure, contrast: dict[str, Any]) -> Effect:
    value, low, high = (_number(contrast[name]) for name in ("estimate", "low", "high"))
    return Effect(value, low, high, measure.quantity, margin_in_units(study, measure))


def margin_in_units(study: Study, measure: Measure) -> float:
    """Margin typed in the unit that people read, in the measure's canonical unit."""
    if is_quantity(measure.quantity):
        return float(to_canonical(measure.margin, measure.quantity, study.units))
    return measure.margin


def _hedges(analysis: Analysis, contrast: dict[str, Any]) -> dict[str, float]:
    table = analysis.effect_sizes
    chosen = (table["kind"] == "hedges_g") & (table["treatment"] == contrast["treatment"])
    if not chosen.any():
        return {"hedges_g": NAN, "g_low": NAN, "g_high": NAN}
    row = table[chosen].iloc[0]
    return {"hedges_g": row["value"], "g_low": row["low"], "g_high": row["high"]}


def _check_mean(analysis: Analysis, contrast: dict[str, Any]) -> float:
    means = analysis.means.set_index("treatment")["mean"]
    return float(means[contrast["versus"]])


def _share(odds: float) -> float:
    return 1.0 if math.isinf(odds) else odds / (1.0 + odds)


def _number(value: float | None) -> float:
    return NAN if value is None else float(value)
