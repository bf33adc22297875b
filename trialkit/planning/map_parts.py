"""What a plot map consists of: field, plots, whole plots, rows as walked, north and scale."""

from typing import Any, Final

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.patches import Rectangle

from trialkit.planning.geometry import Ground
from trialkit.study import Study

LETTER_WIDTH: Final = 0.62  # of a letter, over its size; measured on the font in use
SMALLEST, LARGEST = 4.0, 13.0  # points


def lost_plots(plots: pd.DataFrame) -> set[str]:
    """Names of the plots that are lost."""
    reason = plots["lost"].fillna("") if "lost" in plots else pd.Series("", plots.index)
    return set(plots.loc[reason != "", "plot"])


def draw_field(axes: Axes, ground: Ground, scale: float) -> None:
    """Guards all round, named; alleys between rows, named where there is room."""
    guard = ground.guard
    axes.add_patch(
        Rectangle((0, 0), ground.width, ground.height, facecolor="#ececec", edgecolor="black")
    )
    inner = (ground.width - 2 * guard, ground.height - 2 * guard)
    axes.add_patch(Rectangle((guard, guard), *inner, facecolor="white", edgecolor="none"))
    middle: dict[str, Any] = {"ha": "center", "va": "center", "color": "#333333"}
    size = min(9.0, 72 * scale * guard * 0.6)
    if size >= SMALLEST:
        for y in (guard / 2, ground.height - guard / 2):
            axes.text(ground.width / 2, y, "guard", fontsize=size, **middle)
        for x in (guard / 2, ground.width - guard / 2):
            axes.text(x, ground.height / 2, "guard", fontsize=size, rotation=90, **middle)
    for low, high in _alleys(ground.plots):
        size = min(8.0, 72 * scale * (high - low) * 0.6)
        if size >= SMALLEST:
            axes.text(ground.width / 2, (low + high) / 2, "alley", fontsize=size, **middle)


def _alleys(plots: pd.DataFrame) -> list[tuple[float, float]]:
    """Where alleys begin and end, up the map."""
    bottoms = sorted(plots["bottom"].unique())
    tops = sorted((plots["bottom"] + plots["height"]).unique())
    return list(zip(tops[:-1], bottoms[1:], strict=True))


def draw_plots(axes: Axes, study: Study, ground: Ground, lost: set[str], scale: float) -> None:
    """Every plot with its name and treatment, as large as the longest of them allows."""
    labels = [study.treatment(str(name)).label for name in ground.plots["treatment"]]
    first = ground.plots.iloc[0]
    tall = bool(first["height"] > first["width"])
    short, long = sorted((float(first["height"]), float(first["width"])))
    between = "\n" if long < 2.5 * short else "  "
    texts = [f"{p}{between}{n}" for p, n in zip(ground.plots["plot"], labels, strict=True)]
    longest = max(len(line) for text in texts for line in text.split("\n"))
    lines = 2 if between == "\n" else 1
    fits = (long * 0.92 / (LETTER_WIDTH * longest), short * 0.62 / (1.3 * lines - 0.3))
    size = float(np.clip(72 * scale * min(fits), SMALLEST, LARGEST))
    for plot, text in zip(ground.plots.itertuples(), texts, strict=True):
        _plot(axes, plot, text, plot.plot in lost, (size, tall))


def _plot(axes: Axes, plot: Any, text: str, lost: bool, style: tuple[float, bool]) -> None:
    size, tall = style
    left, bottom, width, height = plot.left, plot.bottom, plot.width, plot.height
    axes.add_patch(
        Rectangle((left, bottom), width, height, facecolor="white", edgecolor="black", lw=0.8)
    )
    if lost:
        axes.plot([left, left + width], [bottom, bottom + height], color="black", lw=0.8)
        axes.plot([left, left + width], [bottom + height, bottom], color="black", lw=0.8)
    axes.text(
        left + width / 2, bottom + height / 2, text, ha="center", va="center",
        rotation=90 if tall else 0, fontsize=size,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
    )  # fmt: skip


def draw_whole_plots(axes: Axes, study: Study, ground: Ground) -> None:
    """A heavy line round every whole plot of a split plot, its level named above."""
    level = {name: key for key, names in study.layout.whole_plots.items() for name in names}
    if not level:
        return
    plots = ground.plots.assign(level=ground.plots["treatment"].map(level))
    for (_, name), one in plots.groupby(["row", "level"]):
        left, bottom = one["left"].min(), one["bottom"].min()
        width = (one["left"] + one["width"]).max() - left
        height = (one["bottom"] + one["height"]).max() - bottom
        axes.add_patch(Rectangle((left, bottom), width, height, fill=False, ec="black", lw=2.4))
        axes.text(left + width / 2, bottom + height, f" {str(name).replace('_', ' ')} ",
                  ha="center", va="bottom", fontsize=8, style="italic")  # fmt: skip


def draw_rows(axes: Axes, study: Study, ground: Ground) -> None:
    """The block of every row at its side, with an arrow the way it is walked."""
    blocked = study.layout.design in ("complete_blocks", "split_plot")
    for number, (row, plots) in enumerate(ground.plots.groupby("row")):
        one = plots.iloc[0]
        name = f"block {one['block']}" if blocked else f"row {row}"
        arrow = "\u2192" if number % 2 == 0 else "\u2190"
        at_left = number % 2 == 0
        x = -0.01 * ground.height if at_left else ground.width + 0.01 * ground.height
        text = f"{name} {arrow}" if at_left else f"{arrow} {name}"
        side = "right" if at_left else "left"
        axes.text(x, one["bottom"] + one["height"] / 2, text, ha=side, va="center", fontsize=9)


def draw_north(axes: Axes, ground: Ground, bearing: float) -> None:
    """An arrow to north: the top of the map points to ``bearing``."""
    size = 0.05 * max(ground.width, ground.height)
    x, y = ground.width - size / 2, ground.height + 1.1 * size
    angle = np.deg2rad(-bearing)
    tip = (x + size * np.sin(angle) / 1.4, y + size * np.cos(angle) / 1.4)
    axes.annotate("N", xy=(x, y), xytext=tip, ha="center", va="center", fontsize=12,
                  arrowprops={"arrowstyle": "<|-", "color": "black"})  # fmt: skip


def draw_scale(axes: Axes, ground: Ground, unit: str) -> None:
    """A bar of a round length."""
    length = round_length(ground.width / 3)
    y = -0.025 * max(ground.width, ground.height)
    axes.plot([0, length], [y, y], color="black", lw=2, solid_capstyle="butt")
    axes.text(length / 2, 1.3 * y, f"{length:g} {unit}", ha="center", va="top", fontsize=8)


def round_length(length: float) -> float:
    """Largest of 1, 2 or 5 times a power of ten that is no longer.

    >>> round_length(38.0)
    20.0
    """
    power = 10 ** np.floor(np.log10(length))
    return float(max(step * power for step in (1, 2, 5) if step * power <= length))
