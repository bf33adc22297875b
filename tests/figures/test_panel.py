"""A panel puts things where matplotlib's axes put them."""

import matplotlib
import numpy as np
from matplotlib.figure import Figure

from trialkit.figures import theme
from trialkit.figures.panel import THIN, Panel, placed
from trialkit.figures.ticks import round_ticks

CORNER, SIZE = (1.0, 0.5), (4.0, 2.0)
X, Y = (-3.0, 7.0), (4.0, -1.0)
LIKE_A_PANEL = {
    "axes.edgecolor": theme.RULE,
    "axes.linewidth": THIN,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.labelcolor": theme.INK,
    "xtick.color": theme.RULE,
    "ytick.color": theme.RULE,
    "xtick.labelcolor": theme.INK,
    "ytick.labelcolor": theme.INK,
    "xtick.labelsize": theme.SMALL,
    "ytick.labelsize": theme.SMALL,
}


def drawn(figure: Figure) -> np.ndarray:
    figure.canvas.draw()
    return np.asarray(figure.canvas.buffer_rgba()).astype(int)


def on_axes(draw) -> np.ndarray:
    with theme.drawing(3) as figure, matplotlib.rc_context(LIKE_A_PANEL):
        (left, top), (width, height) = CORNER, SIZE
        place = (left / 6, 1 - (top + height) / 3, width / 6, height / 3)
        axes = figure.add_axes(place)
        axes.xaxis.set_label_coords(0.5, -theme.BELOW_TICKS / height)
        axes.set(xlim=X, ylim=Y, xticks=[], yticks=[])
        axes.spines[:].set_visible(False)
        draw(axes)
        return drawn(figure)


def on_panel(draw) -> np.ndarray:
    with theme.drawing(3) as figure:
        draw(placed(figure, CORNER, SIZE, X, Y))
        return drawn(figure)


def test_lines_and_marks():
    look = {"color": "blue", "marker": "s", "lw": 1.8}
    axes = on_axes(lambda axes: axes.plot([-2, 3, 9], [0, 3, 2], **look))
    assert (axes == on_panel(lambda panel: panel.line([-2, 3, 9], [0, 3, 2], **look))).all()


def test_segments_and_blocks():
    def axes(axes):
        axes.axvspan(-1, 2, color="red", lw=0)
        axes.hlines([0, 1], [-2, 1], [5, 9], lw=2, colors=["blue", "green"])

    def panel(panel: Panel) -> None:
        panel.block((-1, 2), Y, color="red", lw=0)
        panel.segments([[-2, 5], [1, 9]], [[0, 0], [1, 1]], lw=2, colors=["blue", "green"])

    assert (on_axes(axes) == on_panel(panel)).all()


def test_hatched_bars_drawn_as_one_shape():
    look = {"facecolor": "orange", "hatch": "//", "edgecolor": "white", "linewidth": 0.8}
    axes = on_axes(lambda axes: axes.barh([0, 2], [3, 5], left=[-1, 0], height=0.6, **look))
    bars = [(-1, 2), (0, 5)], [(-0.3, 0.3), (1.7, 2.3)]
    assert (axes == on_panel(lambda panel: panel.blocks(*bars, **look))).all()


def test_words():
    def axes(axes):
        axes.annotate("here", (2, 1), (6, -4), textcoords="offset points", va="center")

    panel = on_panel(lambda panel: panel.words("here", 2, 1, (6, -4), va="center"))
    assert (on_axes(axes) == panel).all()


def test_an_axis_below_with_its_label_and_one_at_the_left():
    def axes(axes):
        axes.spines[["left", "bottom"]].set_visible(True)
        axes.set(xticks=[-2, 0, 2, 4, 6], yticks=[-1, 0, 1, 2, 3, 4])
        axes.set_xlabel("metres", fontsize=theme.SMALL)

    def panel(panel: Panel) -> None:
        panel.axis_below(round_ticks(*X, 5), "metres")
        panel.axis_left(round_ticks(*Y, 5))

    assert (on_axes(axes) == on_panel(panel)).all()


def test_nothing_is_drawn_beyond_the_edges_unless_asked_for():
    inside = on_panel(lambda panel: panel.line([9, 9], [0, 1], color="blue"))
    outside = on_panel(lambda panel: panel.line([9, 9], [0, 1], clip=False, color="blue"))
    assert (inside == 255).all()
    assert (outside != 255).any()
