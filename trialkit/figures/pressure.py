"""Effects of single site-seasons against a condition of theirs, such as pest pressure."""

from typing import Final

import numpy as np
import pandas as pd

from trialkit.figures import labels, theme
from trialkit.figures.blank import blank
from trialkit.figures.interval_rows import in_display_units, signed
from trialkit.figures.panel import Panel, placed
from trialkit.figures.picture import Picture
from trialkit.figures.ticks import round_ticks
from trialkit.study import Study

PANEL: Final = 1.35  # inches
HEAD: Final = 0.34
AXIS: Final = 0.55


def pressure(
    study: Study, effects: pd.DataFrame, conditions: pd.DataFrame, condition: str, label: str
) -> Picture:
    """Draw the effect of each treatment in each site-season against ``condition``.

    ``effects`` are EFFECTS of one measure in single site-seasons; ``conditions`` has season, site
    and the column ``condition``; ``label`` names that with its unit.
    """
    shown = in_display_units(study, effects).merge(
        conditions[["season", "site", condition]], on=["season", "site"]
    )
    shown = shown[np.isfinite(shown[condition]) & np.isfinite(shown["effect"])]
    if shown.empty:
        return blank(label, "No site-season has both an effect and this condition.")
    measure = study.measure(str(shown["measure"].iloc[0]))
    looks = theme.styles(study)
    groups = [(t, shown[shown["treatment"] == t]) for t in study.treatment_ids]
    groups = [(t, group) for t, group in groups if len(group)]
    limits = _limits(shown[condition]), _limits(shown["effect"], zero=True)
    with theme.drawing(len(groups) * (HEAD + PANEL) + AXIS) as figure:
        top = 0.04
        for treatment, group in groups:
            theme.heading(figure, top, f"{measure.name}: {looks[treatment].label}")
            size = theme.WIDTH - 0.95, PANEL - 0.12
            panel = placed(figure, (0.75, top + HEAD), size, *limits)
            _dots(panel, group, condition, looks[treatment])
            panel.axis_left(round_ticks(*panel.y, 4, signed))
            ticks = round_ticks(*panel.x, 9)
            if treatment == groups[-1][0]:
                panel.axis_below(ticks, label)
            else:
                panel.axis_below(dict.fromkeys(ticks, ""))
            top += HEAD + PANEL
        unit = {"percent": "%", "points": "points"}.get(
            str(shown["effect_unit"].iloc[0]), str(shown["effect_unit"].iloc[0])
        )
        caption = (
            f"Difference from the untreated check in {measure.name.lower()} ({unit}), one mark a "
            f"site-season, against {label}. Exploratory: few places, which differ in much besides."
        )
        alt = " ".join(_finding(looks[t].label, g, condition, label) for t, g in groups)
        columns = ["season", "site", "treatment", condition, "effect", "effect_unit"]
        return theme.finish(figure, alt, caption, shown[columns])


def _dots(panel: Panel, group: pd.DataFrame, condition: str, look: theme.Style) -> None:
    panel.across(0, color=theme.CHECK, lw=1.0)
    panel.line(group[condition], group["effect"], ls="none", marker=look.marker,
               color=look.colour, ms=8, mec="white", mew=0.8, clip=False)  # fmt: skip


def _limits(values: pd.Series, zero: bool = False) -> tuple[float, float]:
    numbers = [*values.astype(float), *([0.0] if zero else [])]
    low, high = min(numbers), max(numbers)
    pad = 0.08 * (high - low) or 1.0
    return low - pad, high + pad


def _finding(name: str, group: pd.DataFrame, condition: str, label: str) -> str:
    ordered = group.sort_values(condition)
    unit = str(group["effect_unit"].iloc[0])
    first, last = ordered.iloc[0], ordered.iloc[-1]
    return (
        f"{name}: {labels.change(first['effect'], unit)} where {label} is lowest "
        f"({labels.number(first[condition])}), {labels.change(last['effect'], unit)} where it is "
        f"highest ({labels.number(last[condition])})."
    )
