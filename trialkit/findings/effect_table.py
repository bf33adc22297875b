"""From an analysis to tidy rows of means and effects, on the scale that a grower reads."""

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
import pandas as pd

from trialkit.columns import EFFECTS, MEANS
from trialkit.findings.verdict import judge
from trialkit.inference import Analysis, fieller
from trialkit.inference.points import points_interval
from trialkit.inference.scale import to_response
from trialkit.inference.standardisation import block_shifts
from trialkit.study import Measure, Study
from trialkit.study.units import is_quantity, to_canonical

NAN = float("nan")
UNKNOWN: Final = {"hedges_g": NAN, "g_low": NAN, "g_high": NAN}


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
    names = [str(name) for name in frame.columns]
    columns = [frame.iloc[:, place].tolist() for place in range(len(names))]
    return [dict(zip(names, row, strict=True)) for row in zip(*columns, strict=True)]


def mean_rows(measure: Measure, analysis: Analysis, scope: Scope) -> pd.DataFrame:
    """Rows of MEANS of one analysis; means in the measure's canonical unit.

    Proportions come as percent, counts per unit of exposure. No measure can be negative, so an
    interval that reaches below zero stops there.
    """
    scale, table = scale_of(measure), analysis.means
    shown = {
        "mean": np.array(list(shown_means(analysis).values())) * scale,
        "se": table["se"].to_numpy() * scale,
        "low": (table["low"].to_numpy() * scale).clip(0.0),
        "high": table["high"].to_numpy() * scale,
    }
    where = {"season": scope.season, "site": scope.site, "measure": measure.id}
    kept = {name: table[name].to_numpy() for name in ("treatment", "df", "letters", "n")}
    return pd.DataFrame(where | kept | shown)[list(MEANS)]


def scale_of(measure: Measure) -> float:
    """Factor from the response scale to the one people read: shares are read as percent."""
    return 100.0 if measure.family == "proportion" else 1.0


def shown_means(analysis: Analysis) -> dict[str, float]:
    """Means with those that are only bounded at what was seen: nothing, or nothing else."""
    means, bounds = response_means(analysis), analysis.model.bounds
    for treatment in means:
        bound = bounds.get((treatment, ""))
        if bound is not None:
            means[treatment] = bound.low if bound.low == 0 else bound.high
    return means


def response_means(analysis: Analysis) -> dict[str, float]:
    """Estimated mean of each treatment on the response scale, as ``analysis.means`` has them."""
    means = analysis.model.means
    values = to_response(means.estimate, means.link)
    return {name: float(value) for name, value in zip(means.treatments, values, strict=True)}


def effect_rows(
    study: Study, measure: Measure, analysis: Analysis, scope: Scope, *, standardised: bool = True
) -> pd.DataFrame:
    """Rows of EFFECTS of one analysis, one per treatment against the check.

    Hedges g stays empty unless ``standardised``; it takes as long as all the rest.
    """
    fitted = _Fitted(study, measure, analysis)
    sizes = _hedges(analysis) if standardised else {}
    rows = [
        _effect_row(fitted, contrast, scope) | sizes.get(contrast["treatment"], UNKNOWN)
        for contrast in records(analysis.contrasts)
    ]
    return pd.DataFrame(rows, columns=list(EFFECTS))


@dataclass(frozen=True)
class _Fitted:
    """An analysis with its measure, and what all its contrasts share."""

    study: Study
    measure: Measure
    analysis: Analysis

    @cached_property
    def means(self) -> dict[str, float]:
        return response_means(self.analysis)

    @cached_property
    def shifts(self) -> Any:
        return block_shifts(self.analysis.design)

    @property
    def margin(self) -> float:
        return margin_in_units(self.study, self.measure)


def _effect_row(fitted: _Fitted, contrast: dict[str, Any], scope: Scope) -> dict[str, Any]:
    effect = _effect(fitted, contrast)
    verdict = judge(effect.low, effect.high, effect.margin, fitted.measure.lower_is_better)
    return {
        **contrast,
        "season": scope.season,
        "site": scope.site,
        "measure": fitted.measure.id,
        "effect": effect.value,
        "effect_low": effect.low,
        "effect_high": effect.high,
        "effect_unit": effect.unit,
        "margin": effect.margin,
        "verdict": verdict.word,
        "direction": verdict.direction,
        "bound": contrast["bound"] if isinstance(contrast["bound"], str) else "",
    }


def _effect(fitted: _Fitted, contrast: dict[str, Any]) -> Effect:
    family, measure = fitted.analysis.design.family, fitted.measure
    if family in ("count", "lognormal"):
        return _relative(fitted, contrast)
    if family == "proportion":
        return _points(fitted, contrast)
    if family == "normal" and measure.margin_unit == "percent":
        return _percent_of_check(measure, fitted.analysis, contrast)
    return _difference(fitted, contrast)


def _relative(fitted: _Fitted, contrast: dict[str, Any]) -> Effect:
    """A ratio as percent change; a margin in units becomes percent of the check's mean."""
    ends = (contrast["ratio"], contrast["ratio_low"], contrast["ratio_high"])
    value, low, high = (100.0 * (_number(ratio) - 1.0) for ratio in ends)
    margin = fitted.measure.margin
    if fitted.measure.margin_unit == "units":
        margin = 100.0 * fitted.margin / fitted.means[contrast["versus"]]
    return Effect(value, low, high, "percent", margin)


def _points(fitted: _Fitted, contrast: dict[str, Any]) -> Effect:
    """An odds ratio as a difference in percentage points.

    In one trial averaged over its blocks, the check's own percentage being in doubt as well; of
    bounds and of combined trials at the check's own percentage.
    """
    check = fitted.means[contrast["versus"]]
    odds = check / (1.0 - check) if check < 1.0 else math.inf
    ends = (contrast["ratio"], contrast["ratio_low"], contrast["ratio_high"])
    value, low, high = (100.0 * (_share(odds * _number(ratio)) - check) for ratio in ends)
    one_trial = "environment" not in fitted.analysis.design.frame
    if one_trial and not isinstance(contrast["bound"], str):
        value, low, high = _standardised(fitted, contrast)
    margin = fitted.measure.margin
    if fitted.measure.margin_unit == "percent":
        margin = margin * check
    return Effect(value, low, high, "points", margin)


def _standardised(fitted: _Fitted, contrast: dict[str, Any]) -> tuple[float, float, float]:
    """Percentage points over the trial's blocks, as wide as the contrast's own interval."""
    means = fitted.analysis.model.means
    pair = [means.treatments.index(contrast[name]) for name in ("treatment", "versus")]
    found = points_interval(
        means.estimate[pair],
        means.covariance[np.ix_(pair, pair)],
        fitted.shifts,
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


def _difference(fitted: _Fitted, contrast: dict[str, Any]) -> Effect:
    value, low, high = (_number(contrast[name]) for name in ("estimate", "low", "high"))
    return Effect(value, low, high, fitted.measure.quantity, fitted.margin)


def margin_in_units(study: Study, measure: Measure) -> float:
    """Margin typed in the unit that people read, in the measure's canonical unit."""
    if is_quantity(measure.quantity):
        return float(to_canonical(measure.margin, measure.quantity, study.units))
    return measure.margin


def _hedges(analysis: Analysis) -> dict[str, dict[str, float]]:
    """Hedges g of each treatment that has one, with its interval."""
    table = analysis.effect_sizes
    return {
        row["treatment"]: {"hedges_g": row["value"], "g_low": row["low"], "g_high": row["high"]}
        for row in records(table[table["kind"] == "hedges_g"])
    }


def _share(odds: float) -> float:
    return 1.0 if math.isinf(odds) else odds / (1.0 + odds)


def _number(value: float | None) -> float:
    return NAN if value is None else float(value)
