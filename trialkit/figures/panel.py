"""A rectangle with two scales that lines, marks and words are placed in.

It does what these pictures need of matplotlib's axes, whose ticks, spines and limits take a third
of the time of a picture: every limit is known before drawing, and ticks are drawn as they are said.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from matplotlib.artist import Artist
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.markers import TICKDOWN, TICKLEFT
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path
from matplotlib.text import Text
from matplotlib.transforms import Affine2D, Bbox, IdentityTransform
from numpy.typing import ArrayLike, NDArray

from trialkit.figures import theme

POINTS: Final = 72  # in an inch
TICK: Final = 3.5  # points
PAD: Final = 3.5  # points between a tick and its label
THIN: Final = 0.8  # points
Limits = tuple[float, float]
_PIXELS: Final = IdentityTransform()


@dataclass(frozen=True)
class Panel:
    """Part of a figure (``box``, in pixels from the bottom left) with its limits on both scales.

    The second limit of ``y`` is at the top, that of ``x`` at the right.
    """

    figure: Figure
    box: Bbox
    x: Limits
    y: Limits

    @cached_property
    def transform(self) -> Affine2D:
        """From data to pixels."""
        across = self.box.width / (self.x[1] - self.x[0])
        up = self.box.height / (self.y[1] - self.y[0])
        return Affine2D.from_values(
            across, 0, 0, up, self.box.x0 - self.x[0] * across, self.box.y0 - self.y[0] * up
        )

    @property
    def point(self) -> float:
        """Pixels of a point."""
        return float(self.figure.dpi) / POINTS

    def add(self, artist: Artist, clip: bool = True) -> None:
        """Draw something given in data coordinates; ``clip`` cuts it at the panel's edges."""
        artist.set_transform(self.transform)
        if clip:
            artist.set_clip_box(self.box)
        self.figure.add_artist(artist)

    def line(self, x: ArrayLike, y: ArrayLike, clip: bool = True, **look: Any) -> None:
        """Draw a line, or marks where the look has a marker."""
        self.add(Line2D(np.asarray(x, float), np.asarray(y, float), **look), clip)

    def segments(self, x: ArrayLike, y: ArrayLike, clip: bool = True, **look: Any) -> None:
        """Draw straight pieces; ``x`` and ``y`` have a row of two ends for each."""
        ends = np.stack(np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float)), axis=-1)
        self.add(LineCollection(list(ends.reshape(-1, 2, 2)), **look), clip)

    def block(self, x: Limits, y: Limits, **look: Any) -> None:
        """Fill a rectangle."""
        self.add(Rectangle((x[0], y[0]), x[1] - x[0], y[1] - y[0], **look))

    def blocks(self, x: ArrayLike, y: ArrayLike, **look: Any) -> None:
        """Fill several rectangles as one shape, so that its hatch is drawn once.

        ``x`` and ``y`` have a row of two limits for each.
        """
        (left, right), (low, high) = np.asarray(x, float).T, np.asarray(y, float).T
        corners = [(left, low), (right, low), (right, high), (left, high), (left, low)]
        vertices = np.array(corners).transpose(2, 0, 1).reshape(-1, 2)
        codes = [Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY] * len(left)
        self.add(PathPatch(Path(vertices, codes), **look))

    def across(self, y: float, **look: Any) -> None:
        """Draw a line from edge to edge at a height."""
        self.line(self.x, (y, y), **look)

    def upright(self, x: float, **look: Any) -> None:
        """Draw a line from bottom to top."""
        self.line((x, x), self.y, **look)

    def words(
        self, text: str, x: float, y: float, shift: tuple[float, float] = (0, 0), **look: Any
    ) -> None:
        """Write text at a place in data coordinates, moved by points to the right and up."""
        across, up = self.transform.transform((x, y))
        self._write(text, across, up, shift, look)

    def beside(
        self, text: str, edge: int, y: float, shift: tuple[float, float], **look: Any
    ) -> None:
        """Write text at the left (0) or right (1) edge, level with ``y``."""
        self.words(text, self.x[edge], y, shift, **look)

    def axis_below(self, ticks: Mapping[float, str], label: str = "") -> None:
        """Draw the lower edge with ticks, their labels and the axis label."""
        left, bottom, right, _ = self.box.extents
        self._edge((left, right), (bottom, bottom))
        places = self._places([(tick, self.y[0]) for tick in ticks])
        self._marks(places, TICKDOWN)
        for (x, y), text in zip(places, ticks.values(), strict=True):
            look = {"va": "top", "ha": "center", "fontsize": theme.SMALL}
            self._write(text, x, y, (0, -TICK - PAD), look)
        if label:
            look = {"va": "top", "ha": "center", "fontsize": theme.SMALL}
            self._write(label, (left + right) / 2, bottom, (0, -POINTS * theme.BELOW_TICKS), look)

    def axis_left(self, ticks: Mapping[float, str], edge: bool = True, **look: Any) -> None:
        """Draw the left edge with ticks and labels, or the labels alone."""
        left, bottom, _, top = self.box.extents
        places = self._places([(self.x[0], tick) for tick in ticks])
        if edge:
            self._edge((left, left), (bottom, top))
            self._marks(places, TICKLEFT)
        look = {"va": "center_baseline", "ha": "right", "fontsize": theme.SMALL} | look
        for (x, y), text in zip(places, ticks.values(), strict=True):
            self._write(text, x, y, (-PAD - (TICK if edge else 0), 0), look)

    def grid(self, x: Iterable[float] = (), y: Iterable[float] = ()) -> None:
        """Draw quiet lines across at ``y`` and upright at ``x``, behind all else."""
        look = {"color": theme.BAND, "lw": THIN, "zorder": 0.5}
        for place in x:
            self.upright(place, **look)
        for place in y:
            self.across(place, **look)

    def lower_edge(self) -> None:
        """Draw the lower edge alone."""
        left, bottom, right, _ = self.box.extents
        self._edge((left, right), (bottom, bottom))

    def _places(self, points: list[tuple[float, float]]) -> NDArray[np.float64]:
        return self.transform.transform(np.array(points, float).reshape(-1, 2))

    def _edge(self, x: Limits, y: Limits) -> None:
        self.figure.add_artist(
            Line2D(x, y, color=theme.RULE, lw=THIN, solid_capstyle="projecting",
                   zorder=2.5, transform=_PIXELS)
        )  # fmt: skip

    def _marks(self, places: NDArray[np.float64], marker: Any) -> None:
        self.figure.add_artist(
            Line2D(*places.T, ls="", marker=marker, ms=TICK, mew=THIN, color=theme.RULE,
                   zorder=2.01, transform=_PIXELS)
        )  # fmt: skip

    def _write(
        self, text: str, x: float, y: float, shift: tuple[float, float], look: dict[str, Any]
    ) -> None:
        right, up = (self.point * part for part in shift)
        self.figure.add_artist(Text(x + right, y + up, text, transform=_PIXELS, **look))


def placed(
    figure: Figure, corner: tuple[float, float], size: tuple[float, float], x: Limits, y: Limits
) -> Panel:
    """Return a panel whose top left corner and size are given in inches."""
    (left, top), (width, height) = corner, size
    down = figure.get_size_inches()[1]
    inches = Bbox.from_bounds(left, down - top - height, width, height)
    return Panel(figure, Bbox(inches.get_points() * figure.dpi), x, y)
