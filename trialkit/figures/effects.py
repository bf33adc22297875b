"""Effects of every treatment against the untreated check, one panel per measure."""

from collections.abc import Sequence
from typing import Any

import pandas as pd

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.interval_rows import (
    Row,
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
from trialkit.figures.theme import Style
from trialkit.study import Study

SHOWN = (
    "measure",
    "treatment",
    "effect",
    "effect_low",
    "effect_high",
    "effect_unit",
    "margin",
    "verdict",
    "bound",
)


def effects(study: Study, frame: pd.DataFrame, measures: Sequence[str] | None = None) -> Picture:
    """Draw effects against the check with intervals, margin band and verdicts.

    ``frame`` has the EFFECTS columns, for one site-season or across. ``measures``
    chooses; without it the primary ones are drawn, or all where the study has no primary one.
    """
    wanted = measures or [m.id for m in study.measures if m.primary] or list(frame["measure"])
    chosen = frame[frame["measure"].isin(wanted)]
    if chosen.empty:
        return blank("Effects", "No effect against the untreated check could be estimated.")
    shown = in_order(study, in_display_units(study, chosen))
    looks = theme.styles(study)
    groups = {
        measure: shown[shown["measure"] == measure] for measure in dict.fromkeys(shown["measure"])
    }
    every = [row_of(record, looks) for record in rows_of(shown)]
    grid = grid_of(every, str(shown["effect_unit"].iloc[0]))
    heights = [height_of(len(group), grid.row) for group in groups.values()]
    with theme.drawing(sum(heights)) as figure:
        top, beyond = 0.04, False
        for measure, group in groups.items():
            rows = [row_of(record, looks) for record in rows_of(group)]
            described = study.measure(measure)
            scale = scale_of(described, group)
            beyond = beyond or any(scale.cuts(row) for row in rows)
            label_axis(draw(figure, top, described.name, rows, scale, grid), scale)
            top += height_of(len(group), grid.row)
        alt = " ".join(finding(study, measure, group) for measure, group in groups.items())
        return theme.finish(figure, alt, _caption(study, shown, beyond), shown[list(SHOWN)])


def in_order(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """Sort by measure, then treatment, both in the study's order."""
    measures = {measure.id: place for place, measure in enumerate(study.measures)}
    treatments = {treatment: place for place, treatment in enumerate(study.treatment_ids)}
    keys = pd.DataFrame(
        {"m": frame["measure"].map(measures), "t": frame["treatment"].map(treatments)}
    )
    return frame.loc[keys.sort_values(["m", "t"], kind="stable").index]


def row_of(record: Any, looks: dict[str, Style], name: str = "") -> Row:
    """Turn one record of effects into a row in its treatment's style, by its name or another."""
    look = looks[str(record.treatment)]
    low, high = float(record.effect_low), float(record.effect_high)
    return Row(
        name=name or look.label,
        effect=float(record.effect),
        low=low,
        high=high,
        verdict=str(record.verdict),
        bound=str(record.bound or ""),
        colour=look.colour,
        marker=look.marker,
    )


def finding(study: Study, measure: str, shown: pd.DataFrame) -> str:
    """Say in a sentence how each treatment compares with the check for one measure."""
    looks = theme.styles(study)
    parts = []
    for record in rows_of(shown):
        row = row_of(record, looks)
        unit = record.effect_unit
        interval = labels.change_range(row.low, row.high, unit)
        doubt = "" if row.bound else f"{labels.percent_level(study.level)} {interval}; "
        parts.append(f"{spoken(row, unit)} with {row.name} ({doubt}{row.verdict})")
    name = study.measure(measure).name
    return f"{name} against the untreated check: {labels.listed(parts)}."


def _caption(study: Study, shown: pd.DataFrame, beyond: bool) -> str:
    names = labels.listed([study.measure(m).name.lower() for m in dict.fromkeys(shown["measure"])])
    said = [
        f"Difference from the untreated check in {names}. Lines are"
        f" {labels.percent_level(study.level)}s; the grey band holds differences smaller than the"
        f" smallest worthwhile one."
    ]
    if beyond:
        said.append("An arrow with a mark: the interval runs on beyond the picture.")
    if shown["bound"].astype(bool).any():
        said.append("An arrow without a mark is a bound: the data give only one end.")
    return " ".join(said)
