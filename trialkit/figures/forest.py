"""One treatment and measure across site-seasons, with the pooled effect and what to expect next."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trialkit.columns import ACROSS
from trialkit.figures import labels, theme
from trialkit.figures.interval_rows import (
    PREDICTION,
    Row,
    draw,
    height_of,
    in_display_units,
    scale_of,
    spoken,
)
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.study import Study

SHOWN = (
    "season",
    "site",
    "effect",
    "effect_low",
    "effect_high",
    *PREDICTION,
    "effect_unit",
    "margin",
    "verdict",
    "bound",
)


def forest(
    study: Study,
    site_seasons: pd.DataFrame,
    pooled: pd.DataFrame,
    measure: str,
    treatment: str,
    site_names: Mapping[str, str] | None = None,
) -> Picture:
    """Draw one row per site-season and the pooled effect.

    ``site_seasons`` and ``pooled`` have the EFFECTS columns; ``pooled`` may add prediction_low and
    prediction_high on the scale of ``effect``, the range expected at one more site-season.
    ``site_names`` replaces the study's own names of sites, for editions that must not name them.
    """
    own = _of(study, site_seasons, measure, treatment).sort_values(["season", "site"])
    total = _of(study, pooled, measure, treatment)
    shown = pd.concat([own, total], ignore_index=True)
    names = {site.id: site.name for site in study.sites} | dict(site_names or {})
    rows = [*_single_rows(study, own, names), *_pooled_rows(total)]
    with theme.drawing(height_of(len(rows))) as figure:
        title = f"{study.measure(measure).name}: {study.treatment(treatment).label}"
        scale = scale_of(study.measure(measure), shown)
        axes = draw(figure, 0.04, title, rows, scale)
        if len(total):
            axes.axhline(len(own) - 0.5, color=theme.INK, lw=0.8)
        alt = _finding(study, own, total, measure, treatment)
        return theme.finish(figure, alt, _caption(study, measure, treatment, total), shown)


def _of(study: Study, frame: pd.DataFrame, measure: str, treatment: str) -> pd.DataFrame:
    chosen = frame[(frame["measure"] == measure) & (frame["treatment"] == treatment)]
    shown = in_display_units(study, chosen)
    return shown.reindex(columns=list(SHOWN))


def _single_rows(study: Study, own: pd.DataFrame, names: Mapping[str, str]) -> list[Row]:
    precision = 1 / (own["effect_high"] - own["effect_low"]).abs()
    share = (precision / precision.max()).fillna(0.3).clip(0.3, 1)
    return [
        _row(record, f"{names.get(record.site, record.site)} {record.season}", 4 + 5 * size)
        for record, size in zip(rows_of(own), share, strict=True)
    ]


def _pooled_rows(total: pd.DataFrame) -> list[Row]:
    rows = [_row(record, "All together", 11.0) for record in rows_of(total)]
    return [*rows, *(_next_row(record) for record in rows_of(total) if _foretold(record))]


def _foretold(record: Any) -> bool:
    return not (pd.isna(record.prediction_low) or pd.isna(record.prediction_high))


def _next_row(record: Any) -> Row:
    """The range in which one more site-season is expected: a pale bar without a mark."""
    low, high = float(record.prediction_low), float(record.prediction_high)
    text = labels.change_range(low, high, record.effect_unit)
    first, _, second = text.partition(" to ")
    crosses = low < 0 < high
    said = (f"{first} to", second) if crosses else (text, "expected range")
    return Row("One more site-season", float("nan"), low, high, "", colour="#9a9a9a", line=6.0,
               said=said)  # fmt: skip


def _row(record: Any, name: str, size: float) -> Row:
    pooled = record.site == ACROSS
    return Row(
        name=name,
        effect=float(record.effect),
        low=float(record.effect_low),
        high=float(record.effect_high),
        verdict=str(record.verdict),
        bound=str(record.bound or ""),
        colour=theme.INK if pooled else theme.WATER,
        marker="D" if pooled else "s",
        size=size,
        line=2.6 if pooled else 1.8,
        strong=pooled,
    )


def _finding(
    study: Study, own: pd.DataFrame, total: pd.DataFrame, measure: str, treatment: str
) -> str:
    name, who = study.measure(measure).name, study.treatment(treatment).label
    verdicts = own["verdict"].value_counts()
    counted = labels.listed([f"{word} in {count}" for word, count in verdicts.items()])
    singles = f"Of {labels.plural(len(own), 'site-season')}: {counted}."
    if total.empty:
        return f"{name} with {who} against the untreated check. {singles}"
    record = rows_of(total)[0]
    row, unit = _pooled_rows(total)[0], record.effect_unit
    interval = labels.change_range(row.low, row.high, unit)
    expected = ""
    if _foretold(record):
        ends = (record.prediction_low, record.prediction_high)
        expected = f", {labels.change_range(*ends, unit)} expected at one more site-season"
    return (
        f"{name}, all site-seasons together: {spoken(row, unit)} with {who} than in the untreated"
        f" check ({labels.percent_level(study.level)} {interval}{expected}; {row.verdict})."
        f" {singles}"
    )


def _caption(study: Study, measure: str, treatment: str, total: pd.DataFrame) -> str:
    expected = total["prediction_low"].notna().any()
    wide = " The thick pale bar is the range expected at one more site-season." if expected else ""
    return (
        f"{study.measure(measure).name} with {study.treatment(treatment).label}: difference from"
        f" the untreated check, one row per site-season. Lines are"
        f" {labels.percent_level(study.level)}s; larger marks are more precise; the grey band"
        f" holds differences smaller than the smallest worthwhile one.{wide}"
    )
