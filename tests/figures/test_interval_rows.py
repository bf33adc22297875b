"""The axis below rows of effects."""

from itertools import pairwise

import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from trialkit.figures.interval_rows import Scale, label_axis
from trialkit.figures.lettering import Renderer
from trialkit.figures.panel import placed


@pytest.mark.parametrize("width", [0.6, 0.8, 1.2, 3.0])
def test_labels_of_ticks_stay_apart_however_narrow_the_panel_is(width):
    figure = Figure(figsize=(4, 2), dpi=180)
    scale = Scale("percent", 30.0, True, -60.0, 130.0)
    label_axis(placed(figure, (0.5, 0.2), (width, 1.0), (-60.0, 130.0), (0.0, 1.0)), scale)
    *ticks, axis = [artist for artist in figure.get_children() if isinstance(artist, Text)]
    boxes = [text.get_window_extent(Renderer(720, 360, 180)) for text in ticks]
    assert axis.get_text().startswith("difference")
    assert len(ticks) >= 2
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))
