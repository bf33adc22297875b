"""Planning a whole study in one go: randomise, map, labels, sheets, calendar, how much."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from trialkit.errors import Fault, StudyError
from trialkit.planning.geometry import Ground, lay_out
from trialkit.planning.how_much import Enough, how_much
from trialkit.planning.known import Known
from trialkit.planning.outlook import outlook
from trialkit.planning.plants import SamplingPlan, sampling_plan
from trialkit.planning.randomise import Randomisation, randomise, refuse_if_data
from trialkit.planning.tasks import Task, missing_planting, tasks_of, visits_out_of_season
from trialkit.planning.write import Stamp, write_place, write_tables
from trialkit.study import Study


@dataclass(frozen=True)
class PlacePlan:
    """The plan of one site-season; ``drawn`` is the randomisation if it was made now."""

    season: int
    site: str
    plots: pd.DataFrame
    ground: Ground
    tasks: tuple[Task, ...]
    drawn: Randomisation | None = None


@dataclass(frozen=True)
class Plan:
    """Everything that planning found; :func:`write_plan` puts it into files.

    places   : layout and tasks of every site-season planned.
    faults   : what keeps a site-season out of the plan (errors), and what it lacks (questions).
    enough   : for every primary measure, sizes of trial with cost and power.
    outlook  : contrasts so far and the site-seasons that they still need.
    sampling : how many plants to look at, None without counts.
    """

    places: tuple[PlacePlan, ...]
    enough: tuple[Enough, ...]
    outlook: pd.DataFrame
    sampling: SamplingPlan | None
    faults: tuple[Fault, ...] = ()

    def place(self, season: int, site: str) -> PlacePlan:
        """Return the plan of this site-season."""
        return next(one for one in self.places if (one.season, one.site) == (season, site))


def plan(
    study: Study,
    out: Path,
    stamp: Stamp,
    known: Known | None = None,
    *,
    places: Sequence[tuple[int, str]] | None = None,
    seed: int | None = None,
) -> tuple[Plan, tuple[Path, ...]]:
    """Plan a study and write everything into ``out``; see make_plan and write_plan."""
    made = make_plan(study, known, places=places, seed=seed)
    return made, write_plan(study, made, out, stamp)


def make_plan(
    study: Study,
    known: Known | None = None,
    *,
    places: Sequence[tuple[int, str]] | None = None,
    seed: int | None = None,
) -> Plan:
    """Plan the site-seasons of ``places`` (default: of all unfinished seasons), writing nothing.

    A site-season without plots is randomised; one with plots keeps them, unless a ``seed`` asks for
    another draw, which is refused once data exist. One that cannot be planned is named in
    ``faults`` and stops no other; StudyError is raised with all of them where none can be.
    """
    known = known or Known()
    wanted = open_places(study) if places is None else places
    planned, faults = _plan_places(study, known, wanted, seed)
    return Plan(
        places=planned,
        enough=how_much(study, known.assumptions),
        outlook=outlook(study, known.contrasts),
        sampling=sampling_plan(study, known.seen),
        faults=faults,
    )


def write_plan(study: Study, made: Plan, out: Path, stamp: Stamp) -> tuple[Path, ...]:
    """Write layouts drawn now into the study, and all papers into ``out``; return the paths.

    ``out``/SEASON/SITE/ holds map, labels, calendar, tasks and a workbook for every visit to come.
    """
    files: list[Path] = []
    for one in made.places:
        place = (one.season, one.site)
        files += write_place(study, place, one.plots, one.tasks, one.drawn, (out, stamp))
    return (*files, *write_tables(out, made.enough, made.outlook, made.sampling))


def open_places(study: Study) -> tuple[tuple[int, str], ...]:
    """Site-seasons of the seasons that are not finished."""
    return tuple(p for p in study.site_seasons() if not study.season(p[0]).finished)


def _plan_places(
    study: Study, known: Known, places: Sequence[tuple[int, str]], seed: int | None
) -> tuple[tuple[PlacePlan, ...], tuple[Fault, ...]]:
    planned: list[PlacePlan] = []
    faults: list[Fault] = []
    for place in places:
        try:
            planned.append(one := _plan_place(study, known, place, seed))
            faults += missing_planting(study, *place, one.tasks)
            faults += visits_out_of_season(study, *place, one.tasks)
            faults += _too_few_plots(study, one)
        except StudyError as error:
            faults += error.faults
    told = tuple(dict.fromkeys(faults))
    if told and not planned:
        raise StudyError(told)
    return tuple(planned), told


def _too_few_plots(study: Study, place: PlacePlan) -> Iterator[Fault]:
    """A list of plots, laid out by others, that does not hold every treatment."""
    absent = [t for t in study.treatment_ids if t not in set(place.plots["treatment"])]
    if absent:
        path = study.data_folder(place.season, place.site) / "plots.csv"
        what = f"{len(place.plots)} plots hold {len(study.treatments) - len(absent)} of the "
        what += f"{len(study.treatments)} treatments; {', '.join(absent)} has none"
        remedy = "Add plots, or take the treatment out of study.toml"
        yield Fault(path.as_posix(), 0, "treatment", what, remedy, "treatment_absent", "question")


def _plan_place(study: Study, known: Known, place: tuple[int, str], seed: int | None) -> PlacePlan:
    seen = known.seen.get(place)
    events = None if seen is None else seen.events
    if seen is not None and len(seen.plots) and seed is None:
        drawn, plots = None, seen.plots
    else:
        refuse_if_data(study, *place)
        drawn = randomise(study, *place, seed)
        plots = drawn.plots
    tasks = tasks_of(study, *place, events, plots)
    return PlacePlan(*place, plots, lay_out(study, plots), tasks, drawn)
