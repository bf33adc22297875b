"""Letters as outlines: a line of text measured and drawn without shaping it each time.

Shaping and drawing glyph by glyph takes most of the time of a picture. Latin and Greek letters,
digits and signs need no more than advances, kerning and the few ligatures of f, so their outlines
are kept, set side by side and filled as one path. All else goes the renderer's usual way.
"""

import threading
from dataclasses import dataclass
from functools import cached_property, lru_cache
from io import BytesIO
from itertools import accumulate, pairwise
from pathlib import Path as FilePath
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg, RendererAgg
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font, Kerning, LoadFlags
from matplotlib.path import Path
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray

if TYPE_CHECKING:
    from matplotlib.ft2font import GlyphIndexType

FAMILY: Final = "DejaVu Sans"
_FAMILIES: Final = (["sans-serif"], [FAMILY])
_PARTS: Final = 3  # straight pieces of a curve; finer ones cannot be seen at these sizes
_UNIT: Final = 64.0  # FreeType's units in a pixel
_LIGATURES: Final = (
    ("ffi", "\ufb03"),
    ("ffl", "\ufb04"),
    ("ff", "\ufb00"),
    ("fi", "\ufb01"),
    ("fl", "\ufb02"),
)
# Code points whose letters stand side by side from left to right, none joined or stacked.
_RANGES: Final = (
    range(0x20, 0x7F),
    range(0xA0, 0xAD),
    range(0xAE, 0x250),
    range(0x391, 0x3CA),
    range(0x2010, 0x2028),
    range(0x2030, 0x203A),
    range(0x2070, 0x20C0),
    range(0x2190, 0x2300),
)
_PLAIN: Final = frozenset(chr(code) for codes in _RANGES for code in codes)


@dataclass(frozen=True)
class Glyph:
    """A letter's outline in pixels (origin on the baseline, y upwards), its room and its extent."""

    index: "GlyphIndexType"
    vertices: NDArray[np.float64]
    codes: NDArray[np.uint8]
    advance: float
    low: float
    high: float


@dataclass(frozen=True)
class Line:
    """Glyphs set side by side, with the left edge of each; sizes in pixels."""

    glyphs: tuple[Glyph, ...]
    edges: tuple[float, ...]
    advance: float

    @property
    def extent(self) -> tuple[float, float]:
        """Lowest and highest ink above the baseline."""
        return min(g.low for g in self.glyphs), max(g.high for g in self.glyphs)

    @cached_property
    def outline(self) -> Path:
        """All glyphs as one path."""
        vertices = np.concatenate([glyph.vertices for glyph in self.glyphs])
        vertices[:, 0] += np.repeat(self.edges, [len(glyph.codes) for glyph in self.glyphs])
        return Path(vertices, np.concatenate([glyph.codes for glyph in self.glyphs]))


class Face:
    """A font at one size, its glyphs loaded when first needed."""

    def __init__(self, file: str, points: float, dpi: float) -> None:
        # From memory: processes forked from this one would share the place in an open file.
        self._font = FT2Font(BytesIO(FilePath(file).read_bytes()))
        self._font.set_size(points, dpi)
        self._glyphs: dict[str, Glyph] = {}
        self._kerning: dict[tuple[GlyphIndexType, GlyphIndexType], float] = {}
        self._lock = threading.Lock()  # a font holds the glyph that was loaded last

    def line(self, text: str) -> Line | None:
        """Set a line of text; None where it needs shaping, or a letter is not in the font."""
        if not (text and _PLAIN.issuperset(text)):
            return None
        letters = _with_ligatures(text)
        with self._lock:
            glyphs = [self._glyphs.get(letter) or self._loaded(letter) for letter in letters]
            return self._line(tuple(filter(None, glyphs))) if all(glyphs) else None

    def _loaded(self, letter: str) -> Glyph | None:
        index = self._font.get_char_index(ord(letter))
        if index == 0:
            return None
        loaded = self._font.load_char(ord(letter), flags=LoadFlags.NO_HINTING)
        vertices, codes = _straightened(*self._font.get_path())
        _, low, _, high = (end / _UNIT for end in loaded.bbox)
        advance = loaded.horiAdvance / _UNIT
        self._glyphs[letter] = Glyph(index, vertices, codes, advance, low, high)
        return self._glyphs[letter]

    def _line(self, glyphs: tuple[Glyph, ...]) -> Line:
        """Set glyphs side by side, each pair as close as the font asks."""
        steps = (a.advance + self._kern((a.index, b.index)) for a, b in pairwise(glyphs))
        edges = tuple(accumulate(steps, initial=0.0))
        return Line(glyphs, edges, edges[-1] + glyphs[-1].advance)

    def _kern(self, pair: "tuple[GlyphIndexType, GlyphIndexType]") -> float:
        if pair not in self._kerning:
            self._kerning[pair] = self._font.get_kerning(*pair, Kerning.UNFITTED) / _UNIT
        return self._kerning[pair]


def _with_ligatures(text: str) -> str:
    if "f" in text:
        for letters, ligature in _LIGATURES:
            text = text.replace(letters, ligature)
    return text


def _straightened(
    vertices: NDArray[np.float64], codes: NDArray[np.integer[Any]]
) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    """Turn an outline's quadratic curves, each a control point and an end, into short lines."""
    points: list[Any] = []
    kinds: list[int] = []
    waiting: Any = None
    for point, kind in zip(vertices, codes, strict=True):
        if kind != Path.CURVE3:
            points.append(point)
            kinds.append(int(kind))
        elif waiting is None:
            waiting = point
        else:
            start = points[-1]
            for t in np.arange(1, _PARTS + 1) / _PARTS:
                points.append((1 - t) ** 2 * start + 2 * t * (1 - t) * waiting + t**2 * point)
            kinds += [int(Path.LINETO)] * _PARTS
            waiting = None
    return np.array(points, float).reshape(-1, 2), np.array(kinds, np.uint8)


@lru_cache(maxsize=32)
def _face(weight: str | int, points: float, dpi: float) -> Face:
    return Face(findfont(FontProperties(family=FAMILY, weight=weight)), points, dpi)


@lru_cache(maxsize=4096)
def line_in(text: str, weight: str | int, points: float, dpi: float) -> Line | None:
    """Set a line of text in the pictures' own font; None where it has to be shaped."""
    return _face(weight, points, dpi).line(text)


def line_of(text: str, font: FontProperties, dpi: float) -> Line | None:
    """Set a line of text in a font; None where it has to be shaped."""
    if font.get_family() not in _FAMILIES or font.get_style() != "normal":
        return None
    return line_in(text, font.get_weight(), font.get_size_in_points(), dpi)


class Renderer(RendererAgg):
    """Agg, with plain text drawn as outlines."""

    def draw_text(
        self, gc: Any, x: float, y: float, s: str, prop: Any, angle: float,
        ismath: Any = False, mtext: Any = None,
    ) -> None:  # fmt: skip
        """Draw a line of text with its baseline ``y`` pixels below the top."""
        line = None if angle or ismath else line_of(s, prop, self.dpi)
        if line is None:
            super().draw_text(gc, x, y, s, prop, angle, ismath, mtext)
            return
        pen = self.new_gc()
        pen.copy_properties(gc)
        pen.set_linewidth(0)
        pen.set_snap(False)
        place = Affine2D.from_values(1, 0, 0, 1, x, self.height - y)
        self.draw_path(pen, line.outline, place, gc.get_rgb())

    def get_text_width_height_descent(
        self, s: str, prop: Any, ismath: Any
    ) -> tuple[float, float, float]:
        """Measure a line of text in pixels."""
        line = None if ismath else line_of(s, prop, self.dpi)
        if line is None:
            width, height, descent = super().get_text_width_height_descent(s, prop, ismath)
            return width, height, descent
        low, high = line.extent
        return line.advance, high - low, -low


class Canvas(FigureCanvasAgg):
    """A canvas that draws with :class:`Renderer`."""

    def get_renderer(self) -> Renderer:
        """Return the renderer of the figure's present size."""
        width, height = self.figure.bbox.size
        known = getattr(self, "renderer", None)
        if known is None or (known.width, known.height) != (width, height):
            known = Renderer(width, height, self.figure.dpi)
        return known
