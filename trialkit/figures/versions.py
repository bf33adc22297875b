"""One contrast seen in several ways: season by season, one site left out, or choice by choice."""

import pandas as pd

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.effects import SHOWN, row_of
from trialkit.figures.interval_rows import (
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


def versions(study: Study, frame: pd.DataFrame, what: str) -> Picture:
    """Draw the same contrasts under several conditions, one panel per treatment.

    ``frame`` has the EFFECTS columns of one measure and ``label``, the name of each row, such as
    "up to 2025" or "without Alder Bench"; ``what`` says what the rows differ in, for the caption.
    """
    if frame.empty:
        return blank("Several ways to look", "Nothing could be compared yet.")
    shown = in_display_units(study, frame)
    measure = study.measure(str(shown["measure"].iloc[0]))
    looks = theme.styles(study)
    groups = [(t, shown[shown["treatment"] == t]) for t in study.treatment_ids]
    panels = [
        (t, [row_of(record, looks, str(record.label)) for record in rows_of(group)])
        for t, group in groups
        if len(group)
    ]
    scale = scale_of(measure, shown)
    grid = grid_of([row for _, rows in panels for row in rows], scale.unit, one_line=True)
    heights = [height_of(len(rows), grid.row, axis=(t, rows) == panels[-1]) for t, rows in panels]
    with theme.drawing(sum(heights)) as figure:
        top = 0.04
        for (treatment, rows), height in zip(panels, heights, strict=True):
            panel = draw(
                figure, top, f"{measure.name}: {looks[treatment].label}", rows, scale, grid
            )
            top += height
        label_axis(panel, scale)
        alt = " ".join(_finding(measure.name, looks[t].label, rows, scale.unit)
                       for t, rows in panels)  # fmt: skip
        caption = (
            f"{measure.name}: difference from the untreated check, {what}. Lines are"
            f" {labels.percent_level(study.level)}s; the grey band holds differences smaller than"
            f" the smallest worthwhile one."
        )
        return theme.finish(figure, alt, caption, shown[["label", *SHOWN]])


def _finding(measure: str, treatment: str, rows: list, unit: str) -> str:
    verdicts = dict.fromkeys(row.verdict for row in rows)
    if len(verdicts) == 1:
        ends = sorted(row.effect for row in rows)
        between = labels.change_range(ends[0], ends[-1], unit)
        return f"{measure} with {treatment}: {rows[0].verdict} in all {len(rows)} rows, {between}."
    said = [f"{spoken(row, unit)} {row.name} ({row.verdict})" for row in rows]
    return f"{measure} with {treatment}: the verdict differs: {labels.listed(said)}."
