"""Where plots lie on the ground, in the study's unit of distance, from the near left corner."""

import math
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import Fault, StudyError
from trialkit.planning.entry import entry_fault
from trialkit.study import Study


@dataclass(frozen=True)
class Ground:
    """The field: its size with guards, and one rectangle a plot.

    ``plots`` has columns plot, block, treatment, left, bottom, width, height.
    """

    width: float
    height: float
    guard: float
    plots: pd.DataFrame


def plot_area(study: Study) -> float:
    """Area of one plot in the study's unit (ft² or m²)."""
    area = study.layout.plot_length * study.layout.plot_width
    return int(area) if float(area).is_integer() else round(area, 4)


def lay_out(study: Study, plots: pd.DataFrame) -> Ground:
    """Place the plots of a site-season: plots side by side in a row, an alley between rows.

    ``plots`` needs plot, block, treatment, row and column. A plot's length runs up the map, so a
    row of plots is one plot length high. Raises StudyError if the field is too small.
    """
    layout = study.layout
    columns, rows = int(plots["column"].max()), int(plots["row"].max())
    width = 2 * layout.guard + columns * layout.plot_width + (columns - 1) * layout.gap
    height = 2 * layout.guard + rows * layout.plot_length + (rows - 1) * layout.alley
    _fits(study, width, height)
    placed = plots[["plot", "block", "treatment", "row", "column"]].assign(
        left=layout.guard + (plots["column"] - 1) * (layout.plot_width + layout.gap),
        bottom=layout.guard + (plots["row"] - 1) * (layout.plot_length + layout.alley),
        width=layout.plot_width,
        height=layout.plot_length,
    )
    return Ground(width, height, layout.guard, placed.reset_index(drop=True))


def _fits(study: Study, width: float, height: float) -> None:
    unit = "ft" if study.units == "us" else "m"
    sides = (
        ("field_width", study.layout.field_width, width, "across"),
        ("field_length", study.layout.field_length, height, "long"),
    )
    faults = tuple(
        entry_fault(
            study,
            f"layout.{key}",
            f"the trial is {needed:g} {unit} {side} with guards, the field {given:g} {unit}",
            "Take a larger field, smaller plots or guards, fewer blocks or fewer treatments",
            "field_too_small",
        )
        for key, given, needed, side in sides
        if given is not None and given < needed
    )
    if faults:
        raise StudyError((*_too_many_treatments(study), *faults))


def _too_many_treatments(study: Study) -> tuple[Fault, ...]:
    """The fault of a field that cannot hold one plot of each treatment, however they are put."""
    layout, treatments = study.layout, len(study.treatments)
    across = _room(layout.field_width, layout.guard, layout.plot_width, layout.gap)
    along = _room(layout.field_length, layout.guard, layout.plot_length, layout.alley)
    if across * along >= treatments:
        return ()
    what = f"there are {treatments} treatments, and the field has room for {across * along:g} plots"
    remedy = "Take fewer treatments, a larger field or smaller plots"
    return (entry_fault(study, "layout.field_width", what, remedy, "more_treatments_than_plots"),)


def _room(field: float | None, guard: float, plot: float, between: float) -> float:
    """Plots that fit side by side into a field; without end where its size is not stated."""
    if field is None:
        return math.inf
    return max(0, math.floor((field - 2 * guard + between) / (plot + between)))
