"""From an analysis to tidy rows of means and effects, on the scale that a grower reads."""

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from trialkit.columns import EFFECTS, MEANS
from trialkit.findings.verdict import judge
from trialkit.inference import Analysis
from trialkit.inference.effect_sizes import percent_change
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


def mean_rows(measure: Measure, analysis: Analysis, scope: Scope) -> pd.DataFrame:
    """Rows of MEANS of one analysis; means in the measure's canonical unit.

    Proportions come as percent, counts per unit of exposure.
    """
    scale = 100.0 if measure.family == "proportion" else 1.0
    means = analysis.means.copy()
    means[["mean", "se", "low", "high"]] = means[["mean", "se", "low", "high"]] * scale
    means["n"] = analysis.model.means.n
    return means.assign(season=scope.season, site=scope.site, measure=measure.id)[list(MEANS)]


def effect_rows(study: Study, measure: Measure, analysis: Analysis, scope: Scope) -> pd.DataFrame:
    """Rows of EFFECTS of one analysis, one per treatment against the check."""
    rows = [
        _effect_row(study, measure, analysis, contrast, scope)
        for contrast in analysis.contrasts.to_dict("records")
    ]
    return pd.DataFrame(rows, columns=list(EFFECTS))


def _effect_row(
    study: Study, measure: Measure, analysis: Analysis, contrast: dict[str, Any], scope: Scope
) -> dict[str, Any]:
    effect = _effect(study, measure, analysis, contrast)
    verdict = judge(effect.low, effect.high, effect.margin, measure.lower_is_better)
    sizes = {"hedges_g": NAN, "g_low": NAN, "g_high": NAN, **_hedges(analysis, contrast)}
    return {
        **contrast,
        **sizes,
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
        "bound": contrast.get("bound") or "",
    }


def _effect(study: Study, measure: Measure, analysis: Analysis, contrast: dict[str, Any]) -> Effect:
    if measure.family in ("count", "lognormal"):
        return _relative(study, measure, analysis, contrast)
    if measure.family == "proportion":
        return _points(measure, analysis, contrast)
    if measure.family == "normal" and measure.margin_unit == "percent":
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
    """An odds ratio as a difference in percentage points at the check's own percentage."""
    check = _check_mean(analysis, contrast)
    odds = check / (1.0 - check) if check < 1.0 else math.inf
    ends = (contrast["ratio"], contrast["ratio_low"], contrast["ratio_high"])
    value, low, high = (100.0 * (_share(odds * _number(ratio)) - check) for ratio in ends)
    margin = measure.margin
    if measure.margin_unit == "percent":
        margin = measure.margin * check
    return Effect(value, low, high, "points", margin)


def _percent_of_check(measure: Measure, analysis: Analysis, contrast: dict[str, Any]) -> Effect:
    change = percent_change(analysis, contrast["treatment"], contrast["versus"])
    return Effect(change.value, change.low, change.high, "percent", measure.margin)


def _difference(study: Study, measure: Measure, contrast: dict[str, Any]) -> Effect:
    numbers = (_number(contrast[name]) for name in ("estimate", "low", "high"))
    return Effect(*numbers, measure.quantity, margin_in_units(study, measure))


def margin_in_units(study: Study, measure: Measure) -> float:
    """Margin typed in the unit that people read, in the measure's canonical unit."""
    if is_quantity(measure.quantity):
        return float(to_canonical(measure.margin, measure.quantity, study.units))
    return measure.margin


def _check_mean(analysis: Analysis, contrast: dict[str, Any]) -> float:
    means = analysis.means.set_index("treatment")["mean"]
    return float(means[contrast["versus"]])


def _share(odds: float) -> float:
    return 1.0 if math.isinf(odds) else odds / (1.0 + odds)


def _number(value: float | None) -> float:
    return NAN if value is None else float(value)
