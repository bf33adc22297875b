"""The plot map, to scale: as SVG, as PNG and as a page to print and carry."""

import io
from pathlib import Path
from typing import Final, Literal

import matplotlib as mpl
import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from trialkit.planning.geometry import Ground, lay_out
from trialkit.study import Study

Paper = Literal["letter", "a4"]
PAPERS: Final[dict[str, tuple[float, float]]] = {"letter": (8.5, 11.0), "a4": (8.27, 11.69)}
# Fixed metadata and ids: the same map has the same bytes at every run.
_METADATA: Final = {
    ".svg": {"Date": None, "Creator": "trialkit"},
    ".png": {"Software": "trialkit"},
    ".pdf": {"CreationDate": None, "Creator": "trialkit", "Producer": "trialkit"},
}


def paper_of(study: Study) -> Paper:
    """Paper that people of the study print on."""
    return "letter" if study.units == "us" else "a4"


def draw_map(
    study: Study, season: int, site: str, plots: pd.DataFrame, paper: Paper | None = None
) -> Figure:
    """Draw the plots of a site-season to scale on one page, with guards, alleys, north and a scale.

    Every plot shows its name and treatment; lost plots are crossed out. Raises StudyError if the
    field is too small.
    """
    ground = lay_out(study, plots)
    reason = plots["lost"].fillna("") if "lost" in plots else pd.Series("", plots.index)
    lost = set(plots.loc[reason != "", "plot"])
    width, height = _page(PAPERS[paper or paper_of(study)], ground)
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    axes = figure.add_axes((0.06, 0.08, 0.88, 0.80))
    _field(axes, ground)
    for plot in ground.plots.itertuples():
        label = study.treatment(str(plot.treatment)).label
        _plot(axes, plot, label, plot.plot in lost)
    _north(axes, ground, study.layout.north)
    _scale(axes, ground, "ft" if study.units == "us" else "m")
    title = f"{study.site(site).name}, {season}: plots of {study.title}"
    figure.text(0.06, 0.94, title, fontsize=11, weight="bold", wrap=True)
    figure.text(0.06, 0.915, _subtitle(study, plots), fontsize=8.5)
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


def _page(paper: tuple[float, float], ground: Ground) -> tuple[float, float]:
    """Turn the page the way the field lies."""
    return paper[::-1] if ground.width > ground.height else paper


def _subtitle(study: Study, plots: pd.DataFrame) -> str:
    layout, unit = study.layout, "ft" if study.units == "us" else "m"
    return (
        f"{len(plots)} plots of {layout.plot_length:g} by {layout.plot_width:g} {unit}, alleys of "
        f"{layout.alley:g} {unit}, guards of {layout.guard:g} {unit} all round"
    )


def _field(axes: Axes, ground: Ground) -> None:
    guard = Rectangle((0, 0), ground.width, ground.height, facecolor="#efefef", edgecolor="black")
    inner = Rectangle(
        (ground.guard, ground.guard),
        ground.width - 2 * ground.guard,
        ground.height - 2 * ground.guard,
        facecolor="white",
        edgecolor="none",
    )
    axes.add_patch(guard)
    axes.add_patch(inner)
    margin = 0.10 * max(ground.width, ground.height)
    axes.set_xlim(-0.02 * ground.width, ground.width * 1.02)
    axes.set_ylim(-margin, ground.height + margin)
    axes.set_aspect("equal")
    axes.set_axis_off()
    if ground.guard:
        axes.text(ground.width / 2, ground.guard / 2, "guard", ha="center", va="center", fontsize=7)


def _plot(axes: Axes, plot: "object", label: str, lost: bool) -> None:
    left, bottom, width, height = (getattr(plot, n) for n in ("left", "bottom", "width", "height"))
    box = Rectangle((left, bottom), width, height, facecolor="white", edgecolor="black", lw=0.8)
    axes.add_patch(box)
    if lost:
        axes.plot([left, left + width], [bottom, bottom + height], color="black", lw=0.8)
        axes.plot([left, left + width], [bottom + height, bottom], color="black", lw=0.8)
    tall = height > width
    x, y = left + width / 2, bottom + height / 2
    text = f"{plot.plot}\n{label}" if not tall else f"{plot.plot}  {label}"  # type: ignore[attr-defined]
    axes.text(
        x, y, text, ha="center", va="center", rotation=90 if tall else 0, fontsize=8,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )  # fmt: skip


def _north(axes: Axes, ground: Ground, bearing: float) -> None:
    """An arrow to north: the top of the map points to ``bearing``."""
    size = 0.05 * max(ground.width, ground.height)
    x, y = ground.width - size, ground.height + 1.05 * size
    angle = np.deg2rad(-bearing)
    tip = (x + size * np.sin(angle) / 1.4, y + size * np.cos(angle) / 1.4)
    axes.annotate("N", xy=(x, y), xytext=tip, ha="center", va="center", fontsize=9,
                  arrowprops={"arrowstyle": "<|-", "color": "black"})  # fmt: skip


def _scale(axes: Axes, ground: Ground, unit: str) -> None:
    length = _round_length(ground.width / 3)
    y = -0.04 * max(ground.width, ground.height)
    axes.plot([0, length], [y, y], color="black", lw=2, solid_capstyle="butt")
    axes.text(length / 2, 1.25 * y, f"{length:g} {unit}", ha="center", va="top", fontsize=8)


def _round_length(length: float) -> float:
    """Largest of 1, 2 or 5 times a power of ten that is no longer."""
    power = 10 ** np.floor(np.log10(length))
    return float(max(step * power for step in (1, 2, 5) if step * power <= length))
