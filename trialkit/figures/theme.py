"""One look for every picture: sizes for a phone, colours that survive grey print, same bytes.

Colours are seaborn's colour-blind palette; every treatment also has its own marker, dash and
hatch, so nothing depends on colour. The untreated check is always dark grey.
"""

import string
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Final

import matplotlib
import numpy as np
import pandas as pd
import seaborn as sns
from matplotlib.colors import to_hex, to_rgb
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from trialkit.figures.encoding import compact
from trialkit.figures.lettering import FAMILY, Canvas
from trialkit.figures.picture import Picture
from trialkit.study import Study

WIDTH: Final = 6.0  # inches; on a phone of 360 px a point is then 0.83 px
DPI: Final = 180  # sharp on a screen of three dots a pixel at phone width
BODY: Final = 11.0  # points
SMALL: Final = 10.0
SMALLEST: Final = 9.5
LINE: Final = 0.165  # inches from a small line to the next
BELOW_TICKS: Final = 0.28  # inches from an axis to the label below its tick labels
COMMON: Final = f"{string.ascii_letters}{string.digits}.,:;()%+−°–/$-\u00a0 ff fi"
INK: Final = "#1f1f1f"
SOFT: Final = "#595959"
RULE: Final = "#c4c4c4"
BAND: Final = "#e6e6e6"
CHECK: Final = "#404040"
WATER: Final = "#0173b2"

_HUES: Final = tuple(
    to_hex(sns.color_palette("colorblind")[index]) for index in (0, 1, 2, 4, 9, 3, 5, 6)
)
_MARKERS: Final = ("s", "^", "D", "v", "P", "X", "p", "h", "<", ">")
_DASHES: Final = ((5, 1.5), (1.2, 1.2), (6, 1.5, 1.2, 1.5), (3, 1), (8, 2), (2, 2), (4, 1, 1, 1))
_HATCHES: Final = ("///", "...", "\\\\\\", "xx", "--", "||", "o", "++")
_FILLS: Final = ("#5b3a29", "#b5803f", "#dcc49a", "#86756a", "#f0e6d2", "#3c4a4a", "#a9b3ad")

_SETTINGS: Final[Mapping[Any, Any]] = {
    "font.family": "sans-serif",
    "font.sans-serif": [FAMILY],
    "font.size": BODY,
    "text.color": INK,
    # At 180 dots an inch hinting cannot be seen, and takes a tenth of the drawing time.
    "text.hinting": "none",
    "hatch.linewidth": 0.7,
    "savefig.dpi": DPI,
    "figure.dpi": DPI,
    "svg.hashsalt": "trialkit",
}
_PROCESS_WIDE: Final = ("backend", "backend_fallback", "toolbar", "interactive")
_LOCK = threading.RLock()  # matplotlib's settings are shared by all threads


@dataclass(frozen=True)
class Style:
    """How a treatment looks in every picture of a study."""

    label: str
    colour: str
    text: str
    marker: str
    dashes: tuple[float, ...]
    hatch: str


def styles(study: Study) -> dict[str, Style]:
    """Return the style of each treatment, fixed by its place in the study; the check is first."""
    check, *rest = study.treatment_ids
    found = {check: Style(study.check.label, CHECK, CHECK, "o", (), "")}
    for place, treatment in enumerate(rest):
        colour = _HUES[place % len(_HUES)]
        found[treatment] = Style(
            study.treatment(treatment).label,
            colour,
            readable(colour),
            _MARKERS[place % len(_MARKERS)],
            _DASHES[place % len(_DASHES)],
            _HATCHES[place % len(_HATCHES)],
        )
    return found


def fill_of_cause(place: int) -> dict[str, Any]:
    """Return fill and hatch of the ``place``-th part of a stack, unlike any treatment's colour.

    Fills step from dark to light, so that neighbours differ in grey print too.
    """
    fill = _FILLS[place % len(_FILLS)]
    ink = to_rgb(text_on(fill))
    red, green, blue = (0.55 * f + 0.45 * i for f, i in zip(to_rgb(fill), ink, strict=True))
    faint = to_hex((red, green, blue))
    look = {"facecolor": fill, "hatch": _HATCHES[place % len(_HATCHES)], "hatchcolor": faint}
    return look | {"edgecolor": "white", "linewidth": 0.8}


def luminance(colour: str) -> float:
    """Relative luminance of a colour (WCAG 2.2), 0 for black and 1 for white.

    >>> luminance("white"), luminance("black")
    (1.0, 0.0)
    """
    parts = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in to_rgb(colour))
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), parts, strict=True))


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours (WCAG 2.2), 1 to 21.

    >>> contrast("white", "black")
    21.0
    """
    low, high = sorted((luminance(first), luminance(second)))
    return (high + 0.05) / (low + 0.05)


def readable(colour: str, wanted: float = 4.6) -> str:
    """Darken a colour until text in it reads on white (WCAG 2.2 asks for 4.5)."""
    red, green, blue = to_rgb(colour)
    share = 1.0
    while contrast(to_hex((red * share, green * share, blue * share)), "white") < wanted:
        share -= 0.02
    return to_hex((red * share, green * share, blue * share))


def text_on(colour: str) -> str:
    """Return the ink, dark or white, that reads better on a filled colour."""
    return max(("#000000", "#ffffff"), key=lambda ink: contrast(ink, colour))


@contextmanager
def drawing(height: float) -> Iterator[Figure]:
    """Yield an empty figure ``height`` inches high, under this theme and no other settings."""
    default = matplotlib.rcParamsDefault
    plain = {name: default[name] for name in default if name not in _PROCESS_WIDE}
    with _LOCK, matplotlib.rc_context({**plain, **_SETTINGS}):
        figure = Figure(figsize=(WIDTH, height), facecolor="white")
        Canvas(figure)
        yield figure


def draw_common() -> None:
    """Draw common letters and all hatches, so that what is kept of them is there when needed."""
    with drawing(1.0) as figure:
        for hatch in _HATCHES:
            figure.add_artist(Rectangle((0, 0), 0.01, 0.01, hatch=hatch))
        for size in (BODY, SMALL, SMALLEST):
            for weight in ("normal", "bold"):
                figure.text(0, 0, COMMON, fontsize=size, fontweight=weight)
        png(figure)


def heading(figure: Figure, top: float, text: str, left: float = 0.08, **options: Any) -> None:
    """Write a line of text whose top left corner is given in inches."""
    across, down = figure.get_size_inches()
    look: dict[str, Any] = {
        "va": "top",
        "ha": "left",
        "fontsize": BODY,
        "fontweight": "bold",
    } | options
    figure.text(left / across, 1 - top / down, text, **look)


def finish(figure: Figure, alt: str, caption: str, data: pd.DataFrame) -> Picture:
    """Draw the figure once and wrap it up with its words and numbers."""
    width, height = figure.get_size_inches()
    return Picture(png(figure), alt, caption, data.reset_index(drop=True), width, height)


def png(figure: Figure) -> bytes:
    """Return the drawn figure as PNG without software name, date or any other text."""
    canvas = figure.canvas
    canvas.draw()
    return compact(np.asarray(canvas.buffer_rgba()))  # type: ignore[attr-defined]
