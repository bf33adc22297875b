"""One treatment and measure across site-seasons, with the pooled effect and what to expect next."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd
from matplotlib.figure import Figure

from trialkit.columns import ACROSS
from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.interval_rows import (
    PREDICTION,
    Row,
    Scale,
    draw,
    grid_of,
    height_of,
    in_display_units,
    label_axis,
    scale_of,
    spoken,
)
from trialkit.figures.picture import Picture
from trialkit.figures.rows import rows_of
from trialkit.study import Study

SHOWN = (
    "season",
    "site",
    "treatment",
    "effect",
    "effect_low",
    "effect_high",
    *PREDICTION,
    "effect_unit",
    "margin",
    "verdict",
    "bound",
)


@dataclass(frozen=True)
class _Panel:
    """One treatment: its site-seasons, then what they say together."""

    treatment: str
    own: pd.DataFrame
    total: pd.DataFrame
    rows: list[Row]


def forest(
    study: Study,
    site_seasons: pd.DataFrame,
    pooled: pd.DataFrame,
    measure: str,
    treatment: str | None = None,
    site_names: Mapping[str, str] | None = None,
) -> Picture:
    """Draw one row per site-season and the pooled effect, of one treatment or of each.

    ``site_seasons`` and ``pooled`` have the EFFECTS columns; ``pooled`` may add prediction_low and
    prediction_high on the scale of ``effect``, the range expected at one more site-season.
    ``site_names`` replaces the study's own names of sites, for editions that must not name them.
    """
    names = {site.id: site.name for site in study.sites} | dict(site_names or {})
    wanted = [treatment] if treatment else list(study.treatment_ids)
    panels = [_panel(study, site_seasons, pooled, measure, t, names) for t in wanted]
    panels = [panel for panel in panels if panel.rows]
    described = study.measure(measure)
    if not panels:
        return blank(described.name, "No effect against the untreated check could be estimated.")
    shown = pd.concat([frame for p in panels for frame in (p.own, p.total) if len(frame)])
    scale = scale_of(described, shown)
    with theme.drawing(8) as figure:
        _draw_panels(study, figure, described.name, panels, scale)
        alt = " ".join(_finding(study, panel, described.name) for panel in panels)
        return theme.finish(figure, alt, _caption(study, described.name, panels), shown)


def _panel(
    study: Study,
    site_seasons: pd.DataFrame,
    pooled: pd.DataFrame,
    measure: str,
    treatment: str,
    names: Mapping[str, str],
) -> _Panel:
    own = _of(study, site_seasons, measure, treatment).sort_values(["season", "site"])
    total = _of(study, pooled, measure, treatment)
    return _Panel(treatment, own, total, [*_single_rows(study, own, names), *_pooled_rows(total)])


def _draw_panels(
    study: Study, figure: Figure, name: str, panels: list[_Panel], scale: Scale
) -> None:
    """Panels below one another with one axis; several treatments take rows of one line."""
    every = [row for panel in panels for row in panel.rows]
    grid = grid_of(every, scale.unit, one_line=len(panels) > 1)
    heights = [height_of(len(panel.rows), grid.row, axis=panel is panels[-1]) for panel in panels]
    figure.set_size_inches(theme.WIDTH, sum(heights))
    top = 0.04
    for panel, height in zip(panels, heights, strict=True):
        title = f"{name}: {study.treatment(panel.treatment).label}"
        drawn = draw(figure, top, title, panel.rows, scale, grid)
        if len(panel.total) and len(panel.own):
            drawn.across(len(panel.own) - 0.5, color=theme.INK, lw=0.8)
        top += height
    label_axis(drawn, scale)


def _of(study: Study, frame: pd.DataFrame, measure: str, treatment: str) -> pd.DataFrame:
    chosen = frame[(frame["measure"] == measure) & (frame["treatment"] == treatment)]
    shown = in_display_units(study, chosen)
    return shown.reindex(columns=list(SHOWN))


def _single_rows(study: Study, own: pd.DataFrame, names: Mapping[str, str]) -> list[Row]:
    running = {season.year for season in study.seasons if not season.finished}
    precision = 1 / (own["effect_high"] - own["effect_low"]).abs()
    share = (precision / precision.max()).fillna(0.3).clip(0.3, 1)
    return [
        _row(
            record,
            f"{names.get(record.site, record.site)} {record.season}",
            4 + 5 * size,
            " *" if int(record.season) in running else " †" if _is_excluded(study, record) else "",
        )
        for record, size in zip(rows_of(own), share, strict=True)
    ]


def _is_excluded(study: Study, record: Any) -> bool:
    decided = study.decision_on(int(record.season), str(record.site), str(record.treatment))
    return decided is not None and decided.decision == "exclude"


def _pooled_rows(total: pd.DataFrame) -> list[Row]:
    rows = [_row(record, "All together", 8.5) for record in rows_of(total)]
    return [*rows, *(_next_row(record) for record in rows_of(total) if _foretold(record))]


def _foretold(record: Any) -> bool:
    return not (pd.isna(record.prediction_low) or pd.isna(record.prediction_high))


def _next_row(record: Any) -> Row:
    """The range in which one more site-season is expected: a pale bar without a mark."""
    low, high = float(record.prediction_low), float(record.prediction_high)
    text = labels.change_range(low, high, record.effect_unit)
    return Row("One more site-season", float("nan"), low, high, "", colour="#9a9a9a", line=6.0,
               said=("", text))  # fmt: skip


def _row(record: Any, name: str, size: float, mark: str = "") -> Row:
    pooled = record.site == ACROSS
    return Row(
        name=f"{name}{mark}",
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
        margin=float(record.margin),
    )


def _finding(study: Study, panel: _Panel, name: str) -> str:
    who = study.treatment(panel.treatment).label
    verdicts = panel.own["verdict"].value_counts(sort=False)
    counted = labels.listed([f"{word} in {count}" for word, count in verdicts.items()])
    singles = f"Of {labels.plural(len(panel.own), 'site-season')}: {counted}."
    if panel.total.empty:
        unit = panel.own["effect_unit"].iloc[0]
        each = labels.listed([f"{spoken(r, unit)} at {r.name} ({r.verdict})" for r in panel.rows])
        return f"{name} with {who} against the untreated check: {each}."
    record = rows_of(panel.total)[0]
    row, unit = _row(record, "", 0), record.effect_unit
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


def _caption(study: Study, name: str, panels: list[_Panel]) -> str:
    who = labels.listed([study.treatment(panel.treatment).label for panel in panels])
    foretold = any(_foretold(record) for panel in panels for record in rows_of(panel.total))
    running = {season.year for season in study.seasons if not season.finished}
    so_far = any(panel.own["season"].isin(running).any() for panel in panels)
    star = " * The season is still running; not in the pooled effect." if so_far else ""
    excluded = any(_is_excluded(study, row) for panel in panels for row in rows_of(panel.own))
    dagger = " † Excluded from the pooled effect by decision." if excluded else ""
    wide = " The thick pale bar is the range expected at one more site-season." if foretold else ""
    return (
        f"{name} with {who}: difference from the untreated check, one row per site-season. Lines"
        f" are {labels.percent_level(study.level)}s; larger marks are more precise; the grey band"
        f" holds differences smaller than the smallest worthwhile one.{wide}{star}{dagger}"
    )
