"""All that the final report rests on, read once: plots, events, weather, departures, costs."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit import intake, measures
from trialkit.errors import AnalysisError
from trialkit.findings import Environment, as_decided, site_season_findings
from trialkit.findings.costs_of import TreatmentCosts, treatment_costs
from trialkit.findings.refit import analyse_again, values_of
from trialkit.findings.sold_yield import with_culls_sold
from trialkit.inference import Analysis
from trialkit.intake import FileRecord, SiteSeason
from trialkit.study import Study, economics_faults

Place = tuple[int, str]
SEEN = "seen, correct"  # an answer to a question, which changes no value


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


def gather(study: Study) -> tuple[Evidence, TreatmentCosts]:
    """Read every site-season and the costs; what cannot be used is left aside with its faults."""
    read = [intake.read_site_season(study, season, site) for season, site in study.site_seasons()]
    usable = [data for data in read if data.usable]
    environments = tuple(environment_of(study, data) for data in usable)
    over = [item for item in environments if study.season(item.season).finished]
    finished = tuple(as_decided(study, over))
    costs = intake.read_costs(study)
    evidence = Evidence(
        environments=environments,
        finished=finished,
        hours={(d.season, d.site): event_hours(study, d) for d in usable},
        weather=pd.DataFrame([_weather(study, data) for data in usable]),
        culls=_culls(study, usable),
        departed=tuple((d.season, d.site) for d in usable if _departed(study, d)),
        alternatives=_uncorrected(study, usable, finished),
        files=tuple(record for data in usable for record in data.files) + costs.files,
    )
    known = treatment_costs(study, costs.table, incomplete=costs.incomplete, faults=costs.faults)
    return evidence, known


def environment_of(study: Study, data: SiteSeason) -> Environment:
    """Plot values and effects of one site-season."""
    values = measures.plot_values(study, data.season, data.site, data.tables, data.left_out)
    effects = site_season_findings(study, values).effects
    return Environment(data.season, data.site, values, effects)


def event_hours(study: Study, data: SiteSeason) -> dict[str, float]:
    """Hours per field area by treatment: times an event happened, on average over its plots."""
    if study.economics is None or economics_faults(study):
        return {}
    events, plots = data.tables["events"], data.tables["plots"]
    found: dict[str, float] = {}
    for labour in study.economics.labour:
        own = set(plots.loc[plots["treatment"] == labour.treatment, "plot"])
        rows = events[events["event"] == labour.event]
        everywhere = int((rows["plot"].isna() | (rows["plot"] == "")).sum())
        times = everywhere + (rows["plot"].isin(own).sum() / len(own) if own else 0.0)
        hours = float(labour.hours) * times
        found[labour.treatment] = found.get(labour.treatment, 0.0) + hours
    return found


def _weather(study: Study, data: SiteSeason) -> dict[str, object]:
    place = {"season": data.season, "site": data.site}
    if data.tables["weather"].empty:
        return {**place, "wet_days": float("nan"), "hot_days": float("nan")}
    found = measures.weather_summary(study, data.season, data.site, data.tables)
    return {
        **place,
        "wet_days": found.wet_days_in_bloom,
        "hot_days": found.hot_days_in_bloom,
    }


def _culls(study: Study, usable: list[SiteSeason]) -> pd.DataFrame:
    frames = []
    for data in usable:
        grades = measures.grades(study, data.tables, None)
        rows = grades[grades["grade"] == "cull"].groupby("plot")["weight"].sum()
        area = data.tables["plots"].set_index("plot")["area"]
        value = (rows / area.reindex(rows.index)).rename("value").reset_index()
        frames.append(value.assign(season=data.season, site=data.site))
    columns = ["season", "site", "plot", "value"]
    return pd.concat(frames)[columns] if frames else pd.DataFrame(columns=columns)


def _departed(study: Study, data: SiteSeason) -> bool:
    """True where a treatment was not run as planned; a late visit alone is no other protocol."""
    rows = measures.deviations(study, data.season, data.site, data.tables)
    timed = {rule.id for rule in study.protocol if rule.event is not None}
    return bool(rows["rule"].isin(timed).any())


def _uncorrected(
    study: Study, usable: list[SiteSeason], finished: tuple[Environment, ...]
) -> dict[str, tuple[Environment, ...]]:
    changed = {
        (d.season, d.site) for d in usable if (d.corrections["now"].str.lower() != SEEN).any()
    }
    if not changed & {(item.season, item.site) for item in finished}:
        return {}
    places = []
    for item in finished:
        if (item.season, item.site) not in changed:
            places.append(item)
            continue
        data = intake.read_site_season(study, item.season, item.site, as_typed=True)
        if data.usable:
            places += as_decided(study, [environment_of(study, data)])
    return {"corrections undone": tuple(places)}
