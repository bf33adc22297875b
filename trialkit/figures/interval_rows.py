"""Rows of effects with their intervals: the core of every picture that weighs a difference.

Each row has a name at the left, mark and interval in the middle, effect and verdict at the right.
The band around zero holds differences too small to matter; a bound is an arrow with no mark.
"""

import math
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from trialkit.figures import labels, theme
from trialkit.figures.fit import text_width, wrap
from trialkit.study import Measure, Study
from trialkit.study.units import to_display, unit_label

ROW: Final = 0.44  # inches a row
AXIS: Final = 0.62  # inches below the rows for ticks and the axis label
HEAD: Final = 0.5  # inches above the rows for the heading and the legend of band and zero
EFFECT_COLUMNS: Final = ("effect", "effect_low", "effect_high", "margin")


@dataclass(frozen=True)
class Row:
    """One row: a name, an effect with its interval and how it is drawn."""

    name: str
    effect: float
    low: float
    high: float
    verdict: str
    bound: str = ""
    colour: str = theme.INK
    marker: str = "o"
    size: float = 7.0
    line: float = 1.8
    strong: bool = False
    said: tuple[str, str] | None = None


@dataclass(frozen=True)
class Scale:
    """The axis shared by the rows: unit, margin band, which way is better, and its limits."""

    unit: str
    margin: float
    lower_is_better: bool
    left: float
    right: float


def in_display_units(study: Study, effects: pd.DataFrame) -> pd.DataFrame:
    """Return effects with differences in units as people of the study read them."""
    shown = effects.copy()
    for measure_id, unit in {
        (m, u) for m, u in zip(shown["measure"], shown["effect_unit"], strict=True)
    }:
        if unit in ("percent", "points"):
            continue
        quantity = study.measure(measure_id).quantity
        rows = (shown["measure"] == measure_id) & (shown["effect_unit"] == unit)
        columns = [c for c in (*EFFECT_COLUMNS, *PREDICTION) if c in shown]
        zero = to_display(0.0, quantity, study.units)
        values = shown.loc[rows, columns].astype(float)
        shown.loc[rows, columns] = to_display(values, quantity, study.units) - zero
        shown.loc[rows, "effect_unit"] = unit_label(quantity, study.units)
    return shown


PREDICTION: Final = ("prediction_low", "prediction_high")


def scale_of(measure: Measure, shown: pd.DataFrame) -> Scale:
    """Choose limits that show every effect and the margin, but not the far end of every interval.

    An interval that runs on beyond the limits ends in an arrow.
    """
    margin = float(shown["margin"].max())
    unit = str(shown["effect_unit"].iloc[0])
    ends = shown[["effect", "effect_low", "effect_high"]].to_numpy(float)
    ends = ends[np.isfinite(ends)]
    marks = shown["effect"].to_numpy(float)
    reach = max([2.2 * margin, *(1.6 * np.abs(marks[np.isfinite(marks)]))])
    left = max(min([*ends, -1.3 * margin]), -reach)
    right = min(max([*ends, 1.3 * margin]), reach)
    pad = 0.04 * (right - left)
    left = -100.0 if unit == "percent" and left - pad < -100 else left - pad
    return Scale(unit, margin, measure.lower_is_better, left, right + pad)


def height_of(rows: int) -> float:
    """Inches that a panel of so many rows takes, heading and axis included."""
    return HEAD + ROW * rows + AXIS


def draw(figure: Figure, top: float, title: str, rows: list[Row], scale: Scale) -> Axes:
    """Draw one panel of rows whose top edge is ``top`` inches below the figure's."""
    names = [wrap(figure, row.name, 1.55, theme.SMALL, _weight(row)) for row in rows]
    left = 0.24 + max(text_width(figure, name, theme.SMALL, "bold") for name in names)
    said = [row.said or (spoken(row, scale.unit), row.verdict) for row in rows]
    right = 0.2 + max(
        text_width(figure, text, theme.SMALL, weight)
        for lines in said
        for text, weight in zip(lines, ("bold", "normal"), strict=True)
    )
    width = theme.WIDTH - left - right
    axes = theme.panel(figure, left, top + HEAD, width, ROW * len(rows))
    theme.heading(figure, top, title)
    _backdrop(axes, scale, len(rows))
    for place, row in enumerate(rows):
        _interval(axes, place, row, scale)
        _beside(axes, place, row, names[place], said[place])
    _axis(axes, scale)
    return axes


def spoken(row: Row, unit: str) -> str:
    """Effect of a row in words."""
    if row.bound:
        return labels.bounded(row.low, row.high, row.bound, unit)
    return labels.change(row.effect, unit)


def _weight(row: Row) -> str:
    return "bold" if row.strong else "normal"


def _backdrop(axes: Axes, scale: Scale, rows: int) -> None:
    axes.set_xlim(scale.left, scale.right)
    axes.set_ylim(rows - 0.5, -0.5)
    axes.axvspan(-scale.margin, scale.margin, color=theme.BAND, lw=0)
    axes.axvline(0, color=theme.CHECK, lw=1.2)
    size = labels.size_of_change(scale.margin, scale.unit)
    options: Any = {"va": "bottom", "fontsize": theme.SMALL, "color": theme.SOFT}
    place = -0.5
    axes.text(0, place, f"within {size} of check", ha="center", **options)


def _interval(axes: Axes, place: int, row: Row, scale: Scale) -> None:
    if math.isnan(row.low) and math.isnan(row.high):
        return
    low = scale.left if row.bound == "upper" or math.isnan(row.low) else row.low
    high = scale.right if row.bound == "lower" or math.isnan(row.high) else row.high
    shown = np.clip((low, high), scale.left, scale.right)
    axes.plot(shown, [place, place], color=row.colour, lw=row.line, solid_capstyle="butt")
    _ends(axes, place, row, scale, (low, high))
    if not row.bound and scale.left <= row.effect <= scale.right:
        axes.plot([row.effect], [place], marker=row.marker, color=row.colour, ms=row.size,
                  mec="white", mew=0.8, zorder=4, clip_on=False)  # fmt: skip


def _ends(axes: Axes, place: int, row: Row, scale: Scale, ends: tuple[float, float]) -> None:
    """Arrow heads where an interval runs on; a bar where a bound is known."""
    look: Any = {"color": row.colour, "clip_on": False, "zorder": 5, "ms": 7}
    low, high = ends
    if row.bound == "upper" or low < scale.left:
        axes.plot([scale.left], [place], marker=8, **look)
    if row.bound == "lower" or high > scale.right:
        axes.plot([scale.right], [place], marker=9, **look)
    known = {"upper": high, "lower": low}.get(row.bound)
    if known is not None and scale.left <= known <= scale.right:
        axes.plot([known], [place], marker="|", mew=2.2, **(look | {"ms": 11}))


def _beside(axes: Axes, place: int, row: Row, name: str, said: tuple[str, str]) -> None:
    """Name at the left, effect and verdict at the right."""
    options: Any = {"fontsize": theme.SMALL, "textcoords": "offset points"}
    axes.annotate(name, (0, place), (-12, 0), ha="right", va="center", weight=_weight(row),
                  xycoords=axes.get_yaxis_transform(), linespacing=1.05, **options)  # fmt: skip
    for text, shift, look in (
        (said[0], 6.5, {"weight": "bold"}),
        (said[1], -6.5, {"color": theme.SOFT}),
    ):
        axes.annotate(text, (1, place), (10, shift), ha="left", va="center",
                      xycoords=axes.get_yaxis_transform(), **(options | look))  # fmt: skip


def _axis(axes: Axes, scale: Scale) -> None:
    axes.spines["left"].set_visible(False)
    axes.set_yticks([])
    axes.xaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 2.5, 5, 10]))
    axes.xaxis.set_major_formatter(lambda value, _: signed(value))
    unit = {"percent": "%", "points": "percentage points"}.get(scale.unit, scale.unit)
    better = "left is better" if scale.lower_is_better else "right is better"
    axes.set_xlabel(f"difference from the check, {unit} ({better})", fontsize=theme.SMALL)


def signed(value: float) -> str:
    """A tick label with its sign, zero without."""
    text = f"{abs(value):,.10g}"
    return text if value == 0 else f"{'+' if value > 0 else labels.MINUS}{text}"
