"""Stake labels: a sheet of labels to cut, one a plot, large enough to read from the alley."""

from collections.abc import Iterator
from pathlib import Path

import pandas as pd
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from trialkit.planning.plot_map_sheet import PAPERS, paper_of
from trialkit.planning.walk import serpentine
from trialkit.study import Study
from trialkit.study.layout import Paper

ACROSS, DOWN = 2, 5


def write_labels(
    study: Study,
    season: int,
    site: str,
    plots: pd.DataFrame,
    path: Path,
    paper: Paper | None = None,
) -> Path:
    """Write a PDF of labels in walking order, ten to a page of letter or A4."""
    size = PAPERS[paper or paper_of(study)]
    heading = f"{study.site(site).name} {season}"
    with PdfPages(path, metadata={"CreationDate": None, "Creator": "trialkit"}) as book:
        for page in _pages(serpentine(plots)):
            book.savefig(_page(study, heading, page, size))
    return path


def _pages(plots: pd.DataFrame) -> Iterator[pd.DataFrame]:
    step = ACROSS * DOWN
    for start in range(0, len(plots), step):
        yield plots.iloc[start : start + step]


def _page(study: Study, heading: str, plots: pd.DataFrame, size: tuple[float, float]) -> Figure:
    figure = Figure(figsize=size)
    FigureCanvasAgg(figure)
    for number, plot in enumerate(plots.itertuples()):
        left, top = number % ACROSS / ACROSS, 1 - number // ACROSS / DOWN
        axes = figure.add_axes((left, top - 1 / DOWN, 1 / ACROSS, 1 / DOWN))
        axes.set(xticks=[], yticks=[])
        for edge in axes.spines.values():
            edge.set(linestyle=":", color="grey")
        treatment = study.treatment(str(plot.treatment))
        axes.text(0.5, 0.62, str(plot.plot), ha="center", va="center", fontsize=44, weight="bold")
        axes.text(0.5, 0.25, treatment.label, ha="center", va="center", fontsize=15)
        axes.text(0.5, 0.10, f"{heading}, block {plot.block}", ha="center", fontsize=9)
    return figure
