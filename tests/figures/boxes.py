"""Where the texts of a picture lie, asked of the renderer that drew them."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from trialkit.figures import theme
from trialkit.figures.picture import Picture

SMALLEST = 9.0  # points


@contextmanager
def caught(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Figure]]:
    """Keep the figures that are drawn inside."""
    figures: list[Figure] = []
    png = theme.png

    def keep(figure: Figure) -> bytes:
        figures.append(figure)
        return png(figure)

    with monkeypatch.context() as patch:
        patch.setattr(theme, "png", keep)
        yield figures


def texts_of(figure: Figure) -> list[Text]:
    shown = [item for item in figure.findobj(Text) if item.get_visible() and item.get_text()]
    box = figure.bbox
    return [item for item in shown if _on(item, figure) and box.width]


def _on(item: Text, figure: Figure) -> bool:
    """Leave out tick labels outside their axis' limits, which are never drawn."""
    for axes in figure.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            for tick in axis.get_major_ticks():
                if item in (tick.label1, tick.label2):
                    low, high = sorted(limits)
                    return low <= tick.get_loc() <= high and item.get_visible()
    return True


def assert_well_set(draw: Callable[[], Picture], monkeypatch: pytest.MonkeyPatch) -> Picture:
    """No text overlaps another, none is cut off, none is too small to read."""
    with caught(monkeypatch) as figures:
        picture = draw()
    (figure,) = figures
    renderer = figure.canvas.get_renderer()
    for item in texts_of(figure):
        drawn = item.get_tightbbox(renderer)
        assert drawn is not None, f"{item.get_text()!r} is not drawn"
        assert drawn.width > 0, f"{item.get_text()!r} is not drawn"
    boxes = [(item.get_text(), item.get_window_extent(renderer)) for item in texts_of(figure)]
    assert len(boxes) > 5
    for place, (text, box) in enumerate(boxes):
        assert box.x0 >= 0, f"{text!r} is cut at the left"
        assert box.x1 <= figure.bbox.x1, f"{text!r} is cut at the right"
        assert box.y0 >= 0, f"{text!r} is cut below"
        assert box.y1 <= figure.bbox.y1, f"{text!r} is cut above"
        for other, beside in boxes[place + 1 :]:
            # A pixel of shared edge is no overlap of ink: boxes include the font's full height.
            apart = min(box.x1, beside.x1) - max(box.x0, beside.x0) <= 1 or (
                min(box.y1, beside.y1) - max(box.y0, beside.y0) <= 1
            )
            assert apart, f"{text!r} overlaps {other!r}"
    assert min(item.get_fontsize() for item in texts_of(figure)) >= SMALLEST
    return picture
