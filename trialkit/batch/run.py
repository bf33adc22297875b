"""Bringing a study's reports up to date, from the survey of what is due to the index page."""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from trialkit.batch import warm_server
from trialkit.batch.due import (
    Standing,
    StudyInputs,
    findings_in,
    standing_of,
    surroundings,
    versions_in,
)
from trialkit.batch.files import disk_faults_in_words, swept, write_whole
from trialkit.batch.index import write_index
from trialkit.batch.lock import study_lock
from trialkit.batch.own_code import KNOWN, own_code
from trialkit.batch.pool import Crew, default_workers, hiring, outcomes_of
from trialkit.batch.progress import Silent, Watcher
from trialkit.batch.record import RECORD, read_record
from trialkit.batch.resources import notebooks_folder
from trialkit.batch.targets import Target, targets_of, whole_study_of
from trialkit.batch.templates import read_template
from trialkit.batch.word_records import Words, words_of
from trialkit.batch.work import Outcome, Task, relative_study
from trialkit.publish import PageFacts
from trialkit.study import Study, read_study

TIMEOUT = 600.0


@dataclass(frozen=True)
class Request:
    """What a person asks for.

    ``out`` is the folder that holds the reports of all studies; ``season`` and ``site`` choose
    among the reports; ``workers`` is the number of processes (None: one per core); ``timeout`` the
    seconds that one cell may take; ``notebooks`` the folder of the templates; ``scheduler`` the
    address of a dask cluster that does the work instead.
    """

    study: Path
    out: Path = Path("reports")
    season: int | None = None
    site: str | None = None
    force: bool = False
    workers: int | None = None
    timeout: float = TIMEOUT
    notebooks: Path | None = None
    scheduler: str | None = None

    @property
    def templates(self) -> Path:
        """Folder of the notebook templates."""
        return self.notebooks or notebooks_folder()


@dataclass(frozen=True)
class Change:
    """A verdict that is no longer what it was at the render before."""

    title: str
    measure: str
    treatment: str
    before: str
    now: str


@dataclass(frozen=True)
class Summary:
    """What a render did: every outcome, what was not due, verdicts that moved, where to look.

    ``words`` tells what is amiss with the narrative of each report, whether it was due or not.
    """

    study: Study
    index: Path
    outcomes: tuple[Outcome, ...]
    not_due: tuple[Target, ...]
    changes: tuple[Change, ...] = ()
    words: tuple[Words, ...] = ()

    @property
    def failed(self) -> tuple[Outcome, ...]:
        """Reports that could not be rendered."""
        return tuple(outcome for outcome in self.outcomes if outcome.failed)

    @property
    def undecided(self) -> tuple[Words, ...]:
        """Reports whose narrative waits for a person to mend or decide something."""
        return tuple(words for words in self.words if words.errors)

    @property
    def unsupported(self) -> tuple[Words, ...]:
        """Reports with claims that the data do not support, rendered now or before."""
        return tuple(words for words in self.words if words.claims)


def render(request: Request, watcher: Watcher | None = None) -> Summary:
    """Bring every report that is due up to date and write the index.

    A failing report does not stop the others. Raises TrialkitError when the study cannot be read,
    the place cannot be written, or another render of the study is at work.
    """
    watcher = watcher or Silent()
    study = read_study(request.study)
    reports = request.out / study.name
    with disk_faults_in_words(reports):
        reports.mkdir(parents=True, exist_ok=True)
        workers = request.workers or default_workers()
        with study_lock(reports), swept(reports), hiring(workers, request.scheduler) as hired:
            _warm_up_where_needed(study, request)
            write_whole(reports / KNOWN, own_code(reports).to_bytes())
            standings = survey_site_seasons(study, request)
            outcomes = _rendered(standings, study, request, watcher, hired)
            whole = _whole_study_if_asked(study, request)
            outcomes += _rendered(whole, study, request, watcher, hired)
            write_index(study, reports, _stale(study, request))
    surveyed = (*standings, *whole)
    not_due = tuple(standing.target for standing in surveyed if not standing.is_due)
    changes = tuple(verdict_changes(surveyed, outcomes))
    words = tuple(words_of(standing.target, reports) for standing in surveyed)
    return Summary(study, reports / "index.html", tuple(outcomes), not_due, changes, words)


def _warm_up_where_needed(study: Study, request: Request) -> None:
    """Start the server of kernels at once where reports are missing: it loads during the survey.

    That of workers has time until the survey is done, and would only take a core from the other.
    """
    reports = request.out / study.name
    targets = targets_of(study, request.season, request.site)
    missing = [one for one in targets if not (one.folder(reports) / RECORD).is_file()]
    if missing and not request.scheduler and warm_server.available():
        warm_server.start()


def verdict_changes(standings: Iterable[Standing], outcomes: Iterable[Outcome]) -> Iterator[Change]:
    """Yield the verdicts that moved since the records that the survey found."""
    before = {standing.target: _verdicts(standing.verdicts) for standing in standings}
    for outcome in outcomes:
        old = before.get(outcome.target, {})
        for place, verdict in _verdicts(outcome.verdicts).items():
            if old.get(place, verdict) != verdict:
                yield Change(outcome.target.title, *place, old[place], verdict)


def _verdicts(lines: Iterable[Mapping[str, str]]) -> dict[tuple[str, str], str]:
    return {(line["measure"], line["treatment"]): line["verdict"] for line in lines}


def survey(request: Request) -> tuple[Standing, ...]:
    """Say of each report whether it is due and why; renders nothing."""
    study = read_study(request.study)
    standings = survey_site_seasons(study, request)
    whole = _whole_study_if_asked(study, request)
    due = sum(standing.is_due for standing in standings)
    if due:
        reason = f"it follows if the findings of the {due} report(s) that are due move"
        whole = [one if one.is_due else replace(one, reasons=(reason,)) for one in whole]
    return (*standings, *whole)


def _whole_study_if_asked(study: Study, request: Request) -> list[Standing]:
    """Reports on the whole study are brought up to date only with all that they rest on."""
    chosen = request.season is not None or request.site is not None
    return [] if chosen else survey_whole_study(study, request)


def survey_site_seasons(study: Study, request: Request) -> list[Standing]:
    """Return how each report of a site-season stands."""
    targets = targets_of(study, request.season, request.site)
    reports, inputs = request.out / study.name, StudyInputs.of(study)
    template = read_template(request.templates / targets[0].template)
    around = surroundings(template, own_code(reports))
    return [
        standing_of(
            target,
            {**inputs.of_site_season(target), **around, **_place(target, study, request)},
            target.folder(reports),
            request.force,
        )
        for target in targets
    ]


def _place(target: Target, study: Study, request: Request) -> dict[str, str]:
    """Where the study stands as seen from the report, which names it that way."""
    folder = target.folder(request.out / study.name)
    return {"place of the study": relative_study(study.folder, folder)}


def survey_whole_study(study: Study, request: Request) -> list[Standing]:
    """Return how the reports on the whole study stand, by the findings at hand."""
    reports, inputs = request.out / study.name, StudyInputs.of(study)
    findings = {
        f"findings of {one.title}": findings_in(read_record(one.folder(reports)))
        for one in targets_of(study)
    }
    code = own_code(reports)
    standings = []
    for target in whole_study_of(study):
        around = surroundings(read_template(request.templates / target.template), code)
        own = inputs.of_whole_study(target, findings)
        now = {**own, **around, **_place(target, study, request)}
        standings.append(standing_of(target, now, target.folder(reports), request.force))
    return standings


def _stale(study: Study, request: Request) -> frozenset[Target]:
    """Reports that were left aside by ``season`` or ``site`` although they are out of date."""
    if request.season is None and request.site is None:
        return frozenset()
    everything = replace(request, season=None, site=None, force=False)
    standings = (*survey_site_seasons(study, everything), *survey_whole_study(study, everything))
    return frozenset(standing.target for standing in standings if standing.is_due)


def _rendered(
    standings: Iterable[Standing],
    study: Study,
    request: Request,
    watcher: Watcher,
    hired: Callable[[], Crew],
) -> list[Outcome]:
    tasks = [task_of(standing, study, request) for standing in standings if standing.is_due]
    watcher.due(len(tasks))
    if not tasks:
        return []
    found = {outcome.target: outcome for outcome in outcomes_of(tasks, hired(), watcher)}
    return [found[task.target] for task in tasks]


def task_of(standing: Standing, study: Study, request: Request) -> Task:
    """Return the piece of work that brings one report up to date."""
    target = standing.target
    folder = target.folder(request.out / study.name)
    up = "../" * (len(Path(target.key).parts))
    return Task(
        target=target,
        template=(request.templates / target.template).resolve(),
        study=study.folder.resolve(),
        folder=folder.resolve(),
        facts=PageFacts(page_title(target, study), study.title, study.invented, f"{up}index.html"),
        inputs=standing.inputs,
        versions=versions_in(standing.inputs),
        seed=study.seed,
        timeout=request.timeout,
    )


def page_title(target: Target, study: Study) -> str:
    """Return the heading of a report's page."""
    if target.site is None:
        return target.title
    return f"{study.site(target.site).name}, {target.season}"
