"""Rows of effects with their intervals: the core of every picture that weighs a difference.

Each row has a name at the left, mark and interval in the middle, effect and verdict at the right.
The band around zero holds differences too small to matter; a bound is an arrow with no mark.
"""

from dataclasses import dataclass
from itertools import pairwise
from math import isnan
from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.figure import Figure

from trialkit.figures import labels, theme
from trialkit.figures.fit import text_width, wrap
from trialkit.figures.panel import Panel, placed
from trialkit.figures.ticks import round_ticks
from trialkit.study import Measure, Study
from trialkit.study.units import to_display, unit_label

ROW: Final = 0.44  # inches a row
ROW_OF_ONE_LINE: Final = 0.25
NAME: Final = 1.6  # inches before a name is wrapped
GAP: Final = 0.16  # inches below the rows of a panel without axis
AXIS: Final = 0.62  # inches below the rows for ticks and the axis label
HEAD: Final = 0.5  # inches above the rows for the heading and the legend of band and zero
MOST_TICKS: Final = 5
TICK_GAP: Final = 0.06  # inches between the labels of two ticks
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
    margin: float = 0.0
    said: tuple[str, str] | None = None


@dataclass(frozen=True)
class Scale:
    """The axis shared by the rows: unit, margin band, which way is better, and its limits."""

    unit: str
    margin: float
    lower_is_better: bool
    left: float
    right: float

    def cuts(self, row: Row) -> bool:
        """Say whether a row's interval, not a bound, runs on beyond the limits."""
        return not row.bound and (row.low < self.left or row.high > self.right)


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
    reach = max([4 * margin, *(3 * np.abs(marks[np.isfinite(marks)]))])
    left = max(min([*ends, -1.3 * margin]), -reach)
    right = min(max([*ends, 1.3 * margin]), reach)
    pad = 0.04 * (right - left)
    left = -100.0 if unit == "percent" and left - pad < -100 else left - pad
    return Scale(unit, margin, measure.lower_is_better, left, right + pad)


@dataclass(frozen=True)
class Grid:
    """Columns shared by all panels of a picture, in inches, and the height of a row.

    ``second`` is where the verdict starts, from the right column's edge; 0 puts it on a line of
    its own below the effect.
    """

    left: float
    right: float
    row: float = ROW
    second: float = 0.0

    @property
    def width(self) -> float:
        """Inches left for the intervals."""
        return theme.WIDTH - self.left - self.right


def grid_of(rows: list[Row], unit: str, one_line: bool = False) -> Grid:
    """Fit the columns to the texts of all rows; ``one_line`` makes rows half as high."""
    names = [_name(row) for row in rows]
    lines = 1 + max(name.count("\n") for name in names)
    left = 0.24 + max(text_width(name, theme.SMALL, "bold") for name in names)
    # A text that stands alone may run over both columns.
    said = [said for said in (_said(row, unit) for row in rows) if said[0]]
    alone = max([0.0, *(text_width(_said(row, unit)[1], theme.SMALL) for row in rows)])
    first = max([0.0, *(text_width(text, theme.SMALL, "bold") for text, _ in said)])
    second = max([0.0, *(text_width(text, theme.SMALL) for _, text in said)])
    if one_line:
        both = max(first + 0.1 + second, alone)
        row = max(ROW_OF_ONE_LINE, theme.LINE * lines + 0.06)
        return Grid(left, 0.18 + both, row, first + 0.1)
    return Grid(left, 0.2 + max(first, second, alone), max(ROW, theme.LINE * lines + 0.06))


def height_of(rows: int, row: float = ROW, axis: bool = True) -> float:
    """Inches that a panel of so many rows takes, heading and axis included."""
    return HEAD + row * rows + (AXIS if axis else GAP)


def draw(
    figure: Figure, top: float, title: str, rows: list[Row], scale: Scale, grid: Grid
) -> Panel:
    """Draw one panel of rows whose top edge is ``top`` inches below the figure's."""
    size = grid.width, grid.row * len(rows)
    limits = (scale.left, scale.right), (len(rows) - 0.5, -0.5)
    panel = placed(figure, (grid.left, top + HEAD), size, *limits)
    theme.heading(figure, top, title)
    _backdrop(panel, scale, rows)
    _intervals(panel, rows, scale)
    for place, row in enumerate(rows):
        _beside(panel, place, _name(row), row, _said(row, scale.unit), grid.second)
    return panel


def _name(row: Row) -> str:
    return wrap(row.name, NAME, theme.SMALL, _weight(row))


def _said(row: Row, unit: str) -> tuple[str, str]:
    return row.said or (spoken(row, unit), row.verdict)


def spoken(row: Row, unit: str) -> str:
    """Effect of a row in words."""
    if row.bound:
        return labels.bounded(row.low, row.high, row.bound, unit)
    return labels.change(row.effect, unit)


def _weight(row: Row) -> str:
    return "bold" if row.strong else "normal"


def _backdrop(panel: Panel, scale: Scale, rows: list[Row]) -> None:
    margins = [row.margin or scale.margin for row in rows]
    if len(set(margins)) == 1:
        panel.block((-margins[0], margins[0]), panel.y, color=theme.BAND, lw=0)
        size = f"{labels.size_of_change(margins[0], scale.unit)} of check"
    else:
        for place, margin in enumerate(margins):
            around = (place - 0.5, place + 0.5)
            panel.block((-margin, margin), around, color=theme.BAND, lw=0)
        size = "each margin"
    panel.upright(0, color=theme.CHECK, lw=1.2)
    middle = (-scale.left) / (scale.right - scale.left)
    side = "center" if 0.25 < middle < 0.75 else "left" if middle <= 0.25 else "right"
    panel.words(f"within {size}", 0, -0.5, ha=side, va="bottom", fontsize=theme.SMALL,
                color=theme.SOFT)  # fmt: skip


def _intervals(panel: Panel, rows: list[Row], scale: Scale) -> None:
    """All lines of a panel at once, then marks and arrow heads row by row."""
    known = [(n, row) for n, row in enumerate(rows) if not (isnan(row.low) and isnan(row.high))]
    spans = [_span(row, scale) for _, row in known]
    shown = np.clip(np.array(spans, dtype=float).reshape(-1, 2), scale.left, scale.right)
    panel.segments(shown, [[place] * 2 for place, _ in known] or shown,
                   colors=[row.colour for _, row in known],
                   linewidths=[row.line for _, row in known])  # fmt: skip
    for (place, row), ends in zip(known, spans, strict=True):
        _ends(panel, place, row, scale, ends)
        if not row.bound and scale.left <= row.effect <= scale.right:
            panel.line([row.effect], [place], clip=False, marker=row.marker, color=row.colour,
                       ms=row.size, mec="white", mew=0.8, zorder=4)  # fmt: skip


def _span(row: Row, scale: Scale) -> tuple[float, float]:
    """Ends of a row's line; the open end of a bound lies on the panel's edge."""
    low = scale.left if row.bound == "upper" or isnan(row.low) else row.low
    high = scale.right if row.bound == "lower" or isnan(row.high) else row.high
    return low, high


def _ends(panel: Panel, place: int, row: Row, scale: Scale, ends: tuple[float, float]) -> None:
    """Arrow heads where an interval runs on; a bar where a bound is known."""
    look: Any = {"color": row.colour, "clip": False, "zorder": 5, "ms": 7}
    low, high = ends
    if row.bound == "upper" or low < scale.left:
        panel.line([scale.left], [place], marker=8, **look)
    if row.bound == "lower" or high > scale.right:
        panel.line([scale.right], [place], marker=9, **look)
    known = {"upper": high, "lower": low}.get(row.bound)
    if known is not None and scale.left <= known <= scale.right:
        panel.line([known], [place], marker="|", mew=2.2, **(look | {"ms": 11}))


def _beside(
    panel: Panel, place: int, name: str, row: Row, said: tuple[str, str], second: float
) -> None:
    """Name at the left, effect and verdict at the right."""
    look: Any = {"fontsize": theme.SMALL, "va": "center"}
    panel.beside(name, 0, place, (-12, 0), ha="right", weight=_weight(row), linespacing=1.05,
                 **look)  # fmt: skip
    if not said[0]:
        panel.beside(said[1], 1, place, (10, 0), **look)
        return
    above, below = ((10, 0), (10 + 72 * second, 0)) if second else ((10, 6.5), (10, -6.5))
    panel.beside(said[0], 1, place, above, weight="bold", **look)
    panel.beside(said[1], 1, place, below, color=theme.SOFT, **look)


def label_axis(panel: Panel, scale: Scale) -> None:
    """Give a panel, mostly the last one, its ticks and its axis label."""
    unit = {"percent": "%", "points": "percentage points"}.get(scale.unit, scale.unit)
    better = "left is better" if scale.lower_is_better else "right is better"
    panel.axis_below(_roomy_ticks(panel, scale), f"difference from the check, {unit} ({better})")


def _roomy_ticks(panel: Panel, scale: Scale) -> dict[float, str]:
    """Return as many ticks as have labels that stay apart: a narrow panel has room for few."""
    for parts in range(MOST_TICKS, 1, -1):
        ticks = round_ticks(scale.left, scale.right, parts, signed)
        if _stay_apart(panel, ticks):
            break
    return ticks


def _stay_apart(panel: Panel, ticks: dict[float, str]) -> bool:
    inch = panel.box.width / panel.figure.dpi / (panel.x[1] - panel.x[0])
    widths = [text_width(text, theme.SMALL) for text in ticks.values()]
    return all(
        inch * abs(right - left) >= (one + other) / 2 + TICK_GAP
        for (left, right), (one, other) in zip(pairwise(ticks), pairwise(widths), strict=True)
    )


def signed(value: float) -> str:
    """A tick label with its sign, zero without."""
    text = f"{abs(value):,.10g}"
    return text if value == 0 else f"{'+' if value > 0 else labels.MINUS}{text}"
