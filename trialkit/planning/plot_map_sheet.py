"""The plot map, to scale: as SVG, as PNG and as a page to print and carry."""

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import matplotlib as mpl
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from trialkit.planning.geometry import Ground, lay_out
from trialkit.planning.map_parts import (
    draw_field,
    draw_north,
    draw_plots,
    draw_rows,
    draw_scale,
    draw_whole_plots,
    lost_plots,
)
from trialkit.study import Study
from trialkit.study.layout import Paper

PAPERS: Final[dict[str, tuple[float, float]]] = {"letter": (8.5, 11.0), "a4": (8.27, 11.69)}
# Inches round the field: for names of blocks at its sides, north above, the scale below.
SIDE, ABOVE, BELOW = 1.7, 0.7, 0.55
SIDE_LEFT: Final = 0.6  # share of what is free at the sides
# Fixed metadata and ids: the same map has the same bytes at every run.
_METADATA: Final = {
    ".svg": {"Date": None, "Creator": "trialkit"},
    ".png": {"Software": "trialkit"},
    ".pdf": {"CreationDate": None, "Creator": "trialkit", "Producer": "trialkit"},
}


def paper_of(study: Study) -> Paper:
    """Paper that people of the study print on: ``layout.paper``, else letter in US units."""
    return study.layout.paper or ("letter" if study.units == "us" else "a4")


def draw_map(
    study: Study, season: int, site: str, plots: pd.DataFrame, paper: Paper | None = None
) -> Figure:
    """Draw the plots of a site-season to scale on one page, with guards, alleys, north and a scale.

    Every plot shows its name and treatment, every row its block and the way it is walked; lost
    plots are crossed out. Raises StudyError if the field is too small.
    """
    ground = lay_out(study, plots)
    figure, axes, scale = _empty_page(PAPERS[paper or paper_of(study)], ground)
    draw_field(axes, ground, scale)
    draw_plots(axes, study, ground, lost_plots(plots), scale)
    draw_whole_plots(axes, study, ground)
    draw_rows(axes, study, ground)
    draw_north(axes, ground, study.layout.north)
    draw_scale(axes, ground, "ft" if study.units == "us" else "m")
    figure.text(
        0.06, 0.955, f"{study.site(site).name} {season}: plot map", fontsize=15, weight="bold"
    )
    figure.text(0.06, 0.93, study.title, fontsize=9.5)
    figure.text(0.06, 0.91, _subtitle(study, plots, ground), fontsize=8.5)
    return figure


def save_map(figure: Figure, path: Path) -> Path:
    """Write the map in the format of the path's suffix (.svg, .png or .pdf)."""
    with mpl.rc_context({"svg.hashsalt": "trialkit", "svg.fonttype": "none"}):
        figure.savefig(path, dpi=200, metadata=_METADATA[path.suffix])
    return path


def png_of(figure: Figure) -> bytes:
    """Return the map as a PNG to show on a screen."""
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", dpi=100, metadata=_METADATA[".png"])
    return buffer.getvalue()


def below_each_other(pictures: Sequence[bytes]) -> bytes:
    """Several PNG pictures as one."""
    parts = [Image.open(io.BytesIO(data)).convert("RGB") for data in pictures]
    size = (max(part.width for part in parts), sum(part.height for part in parts))
    whole, top = Image.new("RGB", size, "white"), 0
    for part in parts:
        whole.paste(part, (0, top))
        top += part.height
    buffer = io.BytesIO()
    whole.save(buffer, format="png")
    return buffer.getvalue()


def _empty_page(paper: tuple[float, float], ground: Ground) -> tuple[Figure, Axes, float]:
    """A page turned the way the field lies, its axes in units of the field, and inches a unit."""
    page = paper[::-1] if ground.width > ground.height else paper
    figure = Figure(figsize=page)
    FigureCanvasAgg(figure)
    left, bottom, width, height = 0.04, 0.05, 0.92, 0.85
    axes = figure.add_axes((left, bottom, width, height))
    room = (page[0] * width - SIDE, page[1] * height - ABOVE - BELOW)
    scale = min(room[0] / ground.width, room[1] / ground.height)
    across = page[0] * width / scale - ground.width
    axes.set_xlim(-across * SIDE_LEFT, ground.width + across * (1 - SIDE_LEFT))
    axes.set_ylim(
        -BELOW / scale, ground.height + (page[1] * height - BELOW) / scale - ground.height
    )
    axes.set_aspect("equal")
    axes.set_axis_off()
    return figure, axes, scale


def _subtitle(study: Study, plots: pd.DataFrame, ground: Ground) -> str:
    layout, unit = study.layout, "ft" if study.units == "us" else "m"
    return (
        f"{len(plots)} plots of {layout.plot_length:g} by {layout.plot_width:g} {unit}, alleys of "
        f"{layout.alley:g} {unit}, guards of {layout.guard:g} {unit} all round: "
        f"{ground.width:g} by {ground.height:g} {unit}"
    )
