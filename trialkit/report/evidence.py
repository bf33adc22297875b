"""All that the final report rests on, read once: plots, events, weather, departures, costs."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from trialkit import intake, measures
from trialkit.columns import EFFECTS
from trialkit.errors import AnalysisError
from trialkit.findings import Environment, as_decided, site_season_findings
from trialkit.findings.costs_of import TreatmentCosts, treatment_costs
from trialkit.findings.refit import analyse_again, values_of
from trialkit.findings.sold_yield import with_culls_sold
from trialkit.inference import Analysis
from trialkit.intake import Background, FileRecord
from trialkit.report.background import background_of
from trialkit.report.corrections import undone
from trialkit.study import Study, economics_faults

Place = tuple[int, str]


@dataclass(frozen=True)
class Taking:
    """One site-season that can be used, and what else is known of it.

    ``departures`` are those from the protocol; ``as_typed`` holds the plot values where
    corrections change them.
    """

    environment: Environment
    departures: pd.DataFrame
    background: Background
    as_typed: pd.DataFrame | None
    files: tuple[FileRecord, ...]

    @property
    def place(self) -> Place:
        """Season and site."""
        return self.environment.season, self.environment.site


@dataclass(frozen=True)
class Evidence:
    """What was read.

    environments, finished : all usable site-seasons, and those of finished seasons without what
        study.toml decides to exclude.
    hours    : (season, site) -> treatment -> hours per field area that events took.
    weather  : season, site, wet_days, hot_days in bloom (NaN where not on record).
    culls    : season, site, plot, value: culls in kg/m².
    departed : site-seasons with a departure from the protocol.
    alternatives : other readings of the finished site-seasons, such as corrections undone.
    """

    environments: tuple[Environment, ...]
    finished: tuple[Environment, ...]
    hours: Mapping[Place, Mapping[str, float]]
    weather: pd.DataFrame
    culls: pd.DataFrame
    departed: tuple[Place, ...]
    alternatives: Mapping[str, tuple[Environment, ...]]
    files: tuple[FileRecord, ...]

    def hours_at(self, season: int, site: str) -> Mapping[str, float]:
        """Hours of events by treatment in one site-season."""
        return self.hours.get((season, site), {})

    @property
    def mean_hours(self) -> dict[str, float]:
        """Hours of events by treatment, mean over the finished site-seasons."""
        rows = [dict(self.hours_at(item.season, item.site)) for item in self.finished]
        frame = pd.DataFrame(rows).fillna(0.0)
        return {str(name): float(value) for name, value in frame.mean().items()}

    def sold_together(self, study: Study) -> Analysis | None:
        """Analysis of the yield that is sold, over the finished site-seasons."""
        return self._sold(study, self.finished)

    def sold_by_place(self, study: Study) -> dict[Place, Analysis]:
        """The same for each finished site-season by itself."""
        each = {(one.season, one.site): self._sold(study, (one,)) for one in self.finished}
        return {place: analysis for place, analysis in each.items() if analysis is not None}

    def _sold(self, study: Study, places: tuple[Environment, ...]) -> Analysis | None:
        part = study.economics
        if part is None or part.measure not in {m.id for m in study.measures}:
            return None
        measure = study.measure(part.measure)
        values = values_of(measure, places)
        try:
            if not economics_faults(study):
                values = with_culls_sold(values, self.culls, part)
            return analyse_again(study, measure, values)
        except AnalysisError:
            return None


def gather(study: Study, reports: Path | None = None) -> tuple[Evidence, TreatmentCosts]:
    """Read every site-season and the costs; what cannot be used is left aside with its faults.

    ``reports`` is the folder of the study's finished reports, which handed on what is needed;
    without it every field file is read. Both give the same numbers.
    """
    taking = tuple(_from_field_files(study) if reports is None else _from_reports(study, reports))
    environments = tuple(one.environment for one in taking)
    finished = tuple(one for one in taking if study.season(one.environment.season).finished)
    costs = intake.read_costs(study)
    evidence = Evidence(
        environments=environments,
        finished=tuple(as_decided(study, [one.environment for one in finished])),
        hours={one.place: event_hours(study, one.background.event_times) for one in taking},
        weather=pd.DataFrame([_weather(one) for one in taking]),
        culls=_culls(taking),
        departed=tuple(one.place for one in taking if _departed(study, one.departures)),
        alternatives=_uncorrected(study, finished),
        files=tuple(record for one in taking for record in one.files) + costs.files,
    )
    known = treatment_costs(study, costs.table, incomplete=costs.incomplete, faults=costs.faults)
    return evidence, known


def _from_field_files(study: Study) -> Iterator[Taking]:
    for season, site in study.site_seasons():
        data = intake.read_site_season(study, season, site)
        if not data.usable:
            continue
        values = measures.plot_values(study, season, site, data.tables, data.left_out)
        effects = site_season_findings(study, values).effects
        typed = undone(study, data, values, effects)
        yield Taking(
            Environment(season, site, values, effects),
            measures.deviations(study, season, site, data.tables),
            background_of(study, data, typed),
            typed.as_typed,
            data.files,
        )


def _from_reports(study: Study, reports: Path) -> Iterator[Taking]:
    for season, site in study.site_seasons():
        folder = reports / str(season) / site
        found = intake.read_handed_on(reports, season, site)
        told = intake.read_background(folder, reports)
        if found is None or told is None:
            continue
        background, record = told
        as_typed, _ = intake.read_values(folder / intake.AS_TYPED, reports)
        changed = as_typed if background.uncorrected == "other values" else None
        environment = Environment(season, site, found.values, found.effects)
        files = (*found.files, record)
        yield Taking(environment, found.departures, background, changed, files)


def event_hours(study: Study, times: Mapping[str, Mapping[str, float]]) -> dict[str, float]:
    """Hours per field area by treatment: the hours of an event times how often it happened.

    ``times`` is treatment -> event -> times, on average over the treatment's plots.
    """
    if study.economics is None or economics_faults(study):
        return {}
    found: dict[str, float] = {}
    for labour in study.economics.labour:
        done = times.get(labour.treatment, {}).get(labour.event, 0.0)
        found[labour.treatment] = found.get(labour.treatment, 0.0) + float(labour.hours) * done
    return found


def _departed(study: Study, departures: pd.DataFrame) -> bool:
    """True where a treatment was not run as planned; a late visit alone is no other protocol."""
    timed = {rule.id for rule in study.protocol if rule.event is not None}
    return bool(departures["rule"].isin(timed).any())


def _weather(one: Taking) -> dict[str, object]:
    season, site = one.place
    wet, hot = one.background.wet_days, one.background.hot_days
    numbers = {"wet_days": wet, "hot_days": hot}
    return {
        "season": season,
        "site": site,
        **{name: float("nan") if n is None else n for name, n in numbers.items()},
    }


def _culls(taking: Sequence[Taking]) -> pd.DataFrame:
    rows = [
        (*one.place, plot, value) for one in taking for plot, value in one.background.culls.items()
    ]
    return pd.DataFrame(rows, columns=["season", "site", "plot", "value"])


def _uncorrected(study: Study, finished: Sequence[Taking]) -> dict[str, tuple[Environment, ...]]:
    """The finished site-seasons as typed, where corrections change any of them."""
    if all(one.background.uncorrected == "the same" for one in finished):
        return {}
    return {"corrections undone": tuple(as_decided(study, list(_as_typed(finished))))}


def _as_typed(finished: Sequence[Taking]) -> Iterator[Environment]:
    for one in finished:
        if one.as_typed is not None:
            # Only plot values are analysed again; the effects of this place alone are not needed.
            yield Environment(*one.place, one.as_typed, pd.DataFrame(columns=list(EFFECTS)))
        elif one.background.uncorrected == "the same":
            yield one.environment
