"""What money and robustness rest on: plots, hours of work, weather, departures, culls, costs."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit import intake
from trialkit.columns import ACROSS, EFFECTS
from trialkit.errors import AnalysisError
from trialkit.findings import Environment, as_decided
from trialkit.findings.costs_of import TreatmentCosts, treatment_costs
from trialkit.findings.economics import Money, money_of
from trialkit.findings.effect_table import Scope
from trialkit.findings.refit import analyse_again, values_of
from trialkit.findings.sold_yield import with_culls_sold, worth_of_culls
from trialkit.inference import Analysis
from trialkit.intake import FileRecord, HandedOn
from trialkit.study import Study, economics_faults

Place = tuple[int, str]


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

    def hours_at(self, season: int, site: str) -> Mapping[str, float]:
        """Hours of events by treatment in one site-season."""
        return self.hours.get((season, site), {})

    @property
    def mean_hours(self) -> dict[str, float]:
        """Hours of events by treatment, mean over the finished site-seasons."""
        rows = [dict(self.hours_at(item.season, item.site)) for item in self.finished]
        frame = pd.DataFrame(rows).fillna(0.0)
        return {str(name): float(value) for name, value in frame.mean().items()}

    def sold_together(
        self, study: Study, known: Mapping[str, Analysis] | None = None
    ) -> Analysis | None:
        """Analysis of the yield that is sold, over the finished site-seasons.

        ``known`` are analyses over them by measure; taken where the marketable yield is all that
        is sold, instead of working the same out again.
        """
        analysis = (known or {}).get(_measure_sold(study))
        if analysis is not None and not _sells_culls(study):
            return analysis
        return self._sold(study, self.finished)

    def sold_by_place(
        self, study: Study, known: Mapping[str, Mapping[Place, Analysis]] | None = None
    ) -> dict[Place, Analysis]:
        """The same for each finished site-season by itself; ``known`` likewise."""
        analyses = (known or {}).get(_measure_sold(study))
        if analyses is not None and not _sells_culls(study):
            return dict(analyses)
        each = {(one.season, one.site): self._sold(study, (one,)) for one in self.finished}
        return {place: analysis for place, analysis in each.items() if analysis is not None}

    def _sold(self, study: Study, places: tuple[Environment, ...]) -> Analysis | None:
        part = study.economics
        if part is None or not _measure_sold(study):
            return None
        measure = study.measure(part.measure)
        values = values_of(measure, places)
        try:
            if _sells_culls(study):
                values = with_culls_sold(values, self.culls, part)
            return analyse_again(study, measure, values)
        except AnalysisError:
            return None


def _measure_sold(study: Study) -> str:
    """Measure of the yield that is sold, empty where study.toml names none."""
    part = study.economics
    known = {measure.id for measure in study.measures}
    return part.measure if part is not None and part.measure in known else ""


def _sells_culls(study: Study) -> bool:
    part = study.economics
    return part is not None and not economics_faults(study) and worth_of_culls(part) > 0


def evidence_of(study: Study, taking: Sequence[HandedOn]) -> Evidence:
    """Gather from what every usable site-season hands on."""
    finished = [one for one in taking if study.season(one.season).finished]
    return Evidence(
        environments=tuple(environment_of(one) for one in taking),
        finished=tuple(as_decided(study, [environment_of(one) for one in finished])),
        hours={one.place: event_hours(study, one.background.event_times) for one in taking},
        weather=pd.DataFrame([_weather(one) for one in taking]),
        culls=_culls(taking),
        departed=tuple(one.place for one in taking if _departed(study, one.departures)),
        alternatives=_uncorrected(study, finished),
    )


def costs_of(study: Study) -> tuple[TreatmentCosts, tuple[FileRecord, ...]]:
    """Costs of the treatments, and the file that they come from."""
    costs = intake.read_costs(study)
    known = treatment_costs(study, costs.table, incomplete=costs.incomplete, faults=costs.faults)
    return known, costs.files


def money_together(
    study: Study, taking: Sequence[HandedOn], known: Mapping[str, Analysis] | None = None
) -> Money:
    """Money over the finished site-seasons; ``known`` as in :meth:`Evidence.sold_together`."""
    evidence, (costs, _) = evidence_of(study, taking), costs_of(study)
    sold = evidence.sold_together(study, known) if evidence.finished else None
    return money_of(study, sold, costs, Scope(0, ACROSS), evidence.mean_hours)


def environment_of(one: HandedOn) -> Environment:
    """Plot values and effects of a site-season."""
    return Environment(one.season, one.site, one.values, one.effects)


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


def _weather(one: HandedOn) -> dict[str, object]:
    season, site = one.place
    wet, hot = one.background.wet_days, one.background.hot_days
    numbers = {"wet_days": wet, "hot_days": hot}
    return {
        "season": season,
        "site": site,
        **{name: float("nan") if n is None else n for name, n in numbers.items()},
    }


def _culls(taking: Sequence[HandedOn]) -> pd.DataFrame:
    rows = [
        (*one.place, plot, value) for one in taking for plot, value in one.background.culls.items()
    ]
    return pd.DataFrame(rows, columns=["season", "site", "plot", "value"])


def _uncorrected(study: Study, finished: Sequence[HandedOn]) -> dict[str, tuple[Environment, ...]]:
    """The finished site-seasons as typed, where corrections change any of them."""
    if all(one.background.uncorrected == "the same" for one in finished):
        return {}
    return {"corrections undone": tuple(as_decided(study, list(_as_typed(finished))))}


def _as_typed(finished: Sequence[HandedOn]) -> Iterator[Environment]:
    for one in finished:
        if one.as_typed is not None:
            # Only plot values are analysed again; the effects of this place alone are not needed.
            yield Environment(*one.place, one.as_typed, pd.DataFrame(columns=list(EFFECTS)))
        elif one.background.uncorrected == "the same":
            yield environment_of(one)
