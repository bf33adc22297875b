"""A small picture that says why there is nothing to draw."""

import pandas as pd

from trialkit.figures import theme
from trialkit.figures.fit import wrap
from trialkit.figures.picture import Picture


def blank(title: str, why: str) -> Picture:
    """Return a picture with a title and a sentence, for a place where a figure was expected."""
    with theme.drawing(1.0) as figure:
        theme.heading(figure, 0.08, title)
        text = wrap(why, theme.WIDTH - 0.2, theme.SMALL)
        theme.heading(figure, 0.4, text, fontsize=theme.SMALL, fontweight="normal")
        return theme.finish(figure, f"{title}: {why}", title, pd.DataFrame())
