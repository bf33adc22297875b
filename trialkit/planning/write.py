"""Putting a plan into files: maps, labels, calendar, a workbook for every visit, tables."""

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from trialkit.planning import calendar, labels, plot_map_sheet, sheets
from trialkit.planning.how_much import Enough
from trialkit.planning.plants import SamplingPlan
from trialkit.planning.randomise import Randomisation, write_randomisation
from trialkit.planning.tasks import Task
from trialkit.study import Study

_PAGES = {
    "scouting": (sheets.scouting_sheet, sheets.ratings_sheet),
    "harvest": (sheets.harvest_sheet,),
}


@dataclass(frozen=True)
class Stamp:
    """The day on which a plan is made and the version of the program that makes it."""

    today: dt.date
    version: str


def write_place(
    study: Study,
    place: tuple[int, str],
    plots: pd.DataFrame,
    tasks: Sequence[Task],
    drawn: Randomisation | None,
    into: tuple[Path, Stamp],
) -> Iterator[Path]:
    """Write one site-season into ``into`` (folder and stamp); yield every path written."""
    out, stamp = into
    if drawn is not None:
        yield from write_randomisation(study, drawn, stamp.today, stamp.version)
    folder = out / str(place[0]) / place[1]
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    figure = plot_map_sheet.draw_map(study, *place, plots)
    for name in ("map.svg", "map.png", "map.pdf"):
        yield plot_map_sheet.save_map(figure, folder / name)
    yield labels.write_labels(study, *place, plots, folder / "labels.pdf")
    yield from calendar.write_calendar(study, *place, tasks, folder, stamp.today)
    for task in tasks:
        if _to_come(task, stamp.today):
            yield _write_visit(study, place, plots, task, folder / "sheets")


def _to_come(task: Task, today: dt.date) -> bool:
    visit = task.rule.split("-")[0]
    return visit in _PAGES and task.date is not None and task.date >= today


def _write_visit(
    study: Study, place: tuple[int, str], plots: pd.DataFrame, task: Task, folder: Path
) -> Path:
    """The workbook of a visit: its sheets, and room for what else is seen on the day."""
    visit, date = task.rule.split("-")[0], task.date or dt.date.max
    pages = [make(study, plots, date) for make in _PAGES[visit]]
    pages = [*(page for page in pages if len(page.rows)), sheets.events_sheet(study, plots)]
    heading = f"{study.site(place[1]).name}, {visit} of {date}"
    return sheets.write_workbook(study, pages, folder / f"{visit}_{date}.xlsx", heading)


def write_tables(
    out: Path, enough: Sequence[Enough], needed: pd.DataFrame, sampling: SamplingPlan | None
) -> tuple[Path, ...]:
    """Write the tables of how much is enough as CSV; return their paths."""
    tables: dict[str, pd.DataFrame | None] = {
        f"how_much_{one.measure.id}": one.table for one in enough
    }
    tables["more_site_seasons"] = needed if len(needed) else None
    if sampling is not None:
        tables |= {"plants_needed": sampling.plants, "stop_card": sampling.stop}
        tables |= {"stop_errors": sampling.stop_does}
        tables |= {"decision_card": sampling.decide, "decision_errors": sampling.errors}
    out.mkdir(parents=True, exist_ok=True)
    filled = {out / f"{name}.csv": table for name, table in tables.items() if table is not None}
    for path, table in filled.items():
        table.to_csv(path, index=False, lineterminator="\n")
    return tuple(filled)
