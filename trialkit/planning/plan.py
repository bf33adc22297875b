"""Planning a whole study in one go: randomise, map, labels, sheets, calendar, how much."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from trialkit.errors import StudyError
from trialkit.planning import calendar, labels, plot_map_sheet, sheets
from trialkit.planning.how_much import Enough, how_much
from trialkit.planning.known import Known
from trialkit.planning.outlook import outlook
from trialkit.planning.plants import SamplingPlan, sampling_plan
from trialkit.planning.randomise import randomise, write_randomisation
from trialkit.planning.tasks import Task, tasks_of
from trialkit.study import Study


@dataclass(frozen=True)
class PlacePlan:
    """The plan of one site-season: its plots, tasks and files; ``drawn`` if randomised now."""

    season: int
    site: str
    plots: pd.DataFrame
    tasks: tuple[Task, ...]
    files: tuple[Path, ...]
    drawn: bool


@dataclass(frozen=True)
class Plan:
    """Everything that planning found and wrote."""

    places: tuple[PlacePlan, ...]
    enough: tuple[Enough, ...]
    outlook: pd.DataFrame
    sampling: SamplingPlan | None
    files: tuple[Path, ...] = field(default=())


@dataclass(frozen=True)
class Stamp:
    """When and by which version of the program a plan is made."""

    today: dt.date
    version: str


def plan(
    study: Study,
    out: Path,
    stamp: Stamp,
    known: Known | None = None,
    *,
    places: Sequence[tuple[int, str]] | None = None,
    seed: int | None = None,
) -> Plan:
    """Plan the site-seasons of ``places`` (default: of all unfinished seasons) into ``out``.

    A site-season without plots is randomised; one with plots keeps them, unless a ``seed`` asks for
    another draw, which is refused once data exist. Raises StudyError with every entry of study.toml
    that stands in the way, after planning the site-seasons that can be.
    """
    known = known or Known()
    wanted = open_places(study) if places is None else places
    planned = _plan_places(study, out, stamp, known, wanted, seed)
    enough = how_much(study, known.assumptions)
    needed = outlook(study, known.contrasts)
    sampling = sampling_plan(study, known.seen)
    files = _write_tables(study, out, enough, needed, sampling)
    return Plan(planned, enough, needed, sampling, files)


def open_places(study: Study) -> tuple[tuple[int, str], ...]:
    """Site-seasons of the seasons that are not finished."""
    return tuple(p for p in study.site_seasons() if not study.season(p[0]).finished)


def _plan_places(
    study: Study,
    out: Path,
    stamp: Stamp,
    known: Known,
    places: Sequence[tuple[int, str]],
    seed: int | None,
) -> tuple[PlacePlan, ...]:
    planned, faults = [], []
    for place in places:
        try:
            planned.append(_plan_place(study, out, stamp, known, place, seed))
        except StudyError as error:
            faults += error.faults
    if faults:
        raise StudyError(tuple(faults))
    return tuple(planned)


def _plan_place(
    study: Study,
    out: Path,
    stamp: Stamp,
    known: Known,
    place: tuple[int, str],
    seed: int | None,
) -> PlacePlan:
    season, site = place
    folder = out / str(season) / site
    (folder / "sheets").mkdir(parents=True, exist_ok=True)
    seen = known.seen.get(place)
    drawn = seen is None or seen.plots.empty or seed is not None
    plots = _draw(study, place, stamp, seed) if drawn or seen is None else seen.plots
    events = None if seen is None else seen.events
    tasks = tasks_of(study, season, site, events, plots)
    files = (
        *_write_map(study, season, site, plots, folder),
        labels.write_labels(study, season, site, plots, folder / "labels.pdf"),
        *calendar.write_calendar(study, season, site, tasks, folder, stamp.today),
        *_write_sheets(study, place, plots, tasks, folder / "sheets", stamp.today),
    )
    return PlacePlan(season, site, plots, tasks, files, drawn)


def _draw(study: Study, place: tuple[int, str], stamp: Stamp, seed: int | None) -> pd.DataFrame:
    drawn = randomise(study, *place, seed)
    write_randomisation(study, drawn, stamp.today, stamp.version)
    return drawn.plots


def _write_map(
    study: Study, season: int, site: str, plots: pd.DataFrame, folder: Path
) -> tuple[Path, ...]:
    figure = plot_map_sheet.draw_map(study, season, site, plots)
    names = ("map.svg", "map.png", "map.pdf")
    return tuple(plot_map_sheet.save_map(figure, folder / name) for name in names)


def _write_sheets(
    study: Study,
    place: tuple[int, str],
    plots: pd.DataFrame,
    tasks: Sequence[Task],
    folder: Path,
    today: dt.date,
) -> tuple[Path, ...]:
    """One workbook a visit that is still to come: scouting with ratings, or harvest."""
    makers = {
        "scouting": (sheets.scouting_sheet, sheets.ratings_sheet),
        "harvest": (sheets.harvest_sheet,),
    }
    written = []
    for task in tasks:
        visit = task.rule.split("-")[0]
        if visit in makers and task.date is not None and task.date >= today:
            pages = [make(study, plots, task.date) for make in makers[visit]]
            pages = [page for page in pages if len(page.rows)]
            heading = f"{study.site(place[1]).name}, {visit} of {task.date}"
            path = folder / f"{visit}_{task.date}.xlsx"
            layout = sheets.plots_sheet(plots)
            written.append(sheets.write_workbook(study, [*pages, layout], path, heading))
    return tuple(written)


def _write_tables(
    study: Study,
    out: Path,
    enough: Sequence[Enough],
    needed: pd.DataFrame,
    sampling: SamplingPlan | None,
) -> tuple[Path, ...]:
    tables = {f"how_much_{one.measure.id}": one.table for one in enough}
    if len(needed):
        tables["more_site_seasons"] = needed
    if sampling is not None:
        found = {"plants_needed": sampling.plants, "stop_card": sampling.stop}
        found |= {"decision_card": sampling.decide, "decision_errors": sampling.errors}
        tables |= {name: table for name, table in found.items() if table is not None}
    out.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        table.to_csv(out / f"{name}.csv", index=False, lineterminator="\n")
    return tuple(out / f"{name}.csv" for name in tables)
