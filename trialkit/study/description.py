"""The study as planned: everything that study.toml says, checked as a whole."""

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from pydantic import Field, PrivateAttr, model_validator

from trialkit.study.decisions import ProtocolDecision, decision_problems
from trialkit.study.deposit import Archive, Author
from trialkit.study.economics import Economics
from trialkit.study.layout import Layout
from trialkit.study.mapping import TableMapping, mapping_problems
from trialkit.study.measure import Measure
from trialkit.study.parts import (
    CullCause,
    DegreeDays,
    Identifier,
    Organism,
    Part,
    ProtocolRule,
    Rating,
    Season,
    Site,
    Treatment,
    WeatherLimits,
)

DEFAULT_EVENTS = ("transplanted", "first_bloom", "half_bloom", "cover_on", "cover_off")


class Study(Part):
    """A study description; made by :func:`trialkit.study.read_study`, never changed."""

    name: Identifier
    title: str
    crop: str
    units: Literal["us", "si"]
    invented: bool = False
    summary: str = ""
    currency: str = "USD"
    seed: int = 1
    level: float = Field(default=0.95, gt=0.5, lt=1)
    missing_codes: tuple[str, ...] = ()
    events: tuple[str, ...] = DEFAULT_EVENTS
    treatments: tuple[Treatment, ...]
    sites: tuple[Site, ...]
    seasons: tuple[Season, ...]
    organisms: tuple[Organism, ...] = ()
    cull_causes: tuple[CullCause, ...] = ()
    ratings: tuple[Rating, ...] = ()
    measures: tuple[Measure, ...]
    protocol: tuple[ProtocolRule, ...] = ()
    protocol_decisions: tuple[ProtocolDecision, ...] = ()
    degree_days: DegreeDays | None = None
    weather_limits: WeatherLimits = WeatherLimits()
    layout: Layout = Layout()
    intake: dict[str, TableMapping] = Field(default_factory=dict)
    economics: Economics | None = None
    licence: str = ""
    authors: tuple[Author, ...] = ()
    citation: str = ""
    archive: Archive = Archive()
    _folder: Path = PrivateAttr(default=Path())

    @model_validator(mode="after")
    def _fits_together(self) -> "Study":
        problems = [
            *self._repeated(),
            *self._check_problems(),
            *self._dangling(),
            *mapping_problems(self.intake),
        ]
        if problems:
            raise ValueError("; ".join(problems))
        return self

    @property
    def folder(self) -> Path:
        """Folder that study.toml stands in."""
        return self._folder

    @property
    def check(self) -> Treatment:
        """The untreated check."""
        return next(treatment for treatment in self.treatments if treatment.check)

    @property
    def treatment_ids(self) -> tuple[str, ...]:
        """Treatments in reporting order, the check first."""
        rest = tuple(t.id for t in self.treatments if not t.check)
        return (self.check.id, *rest)

    def treatment(self, treatment: str) -> Treatment:
        """Return the treatment with this id."""
        return next(item for item in self.treatments if item.id == treatment)

    def site(self, site: str) -> Site:
        """Return the site with this id."""
        return next(item for item in self.sites if item.id == site)

    def season(self, year: int) -> Season:
        """Return the season of this year."""
        return next(item for item in self.seasons if item.year == year)

    def measure(self, measure: str) -> Measure:
        """Return the measure with this id."""
        return next(item for item in self.measures if item.id == measure)

    def site_seasons(self) -> tuple[tuple[int, str], ...]:
        """Every planned (season, site), seasons in order of year, sites as listed."""
        ordered = sorted(self.seasons, key=lambda season: season.year)
        return tuple((s.year, site) for s in ordered for site in self.sites_of(s.year))

    def sites_of(self, year: int) -> tuple[str, ...]:
        """Ids of the sites that take part in a season (all, unless the season lists them)."""
        listed = self.season(year).sites
        return tuple(site.id for site in self.sites if not listed or site.id in listed)

    def data_folder(self, season: int, site: str) -> Path:
        """Folder of a site-season's files."""
        return self._folder / "data" / str(season) / site

    def decision_on(self, season: int, site: str, treatment: str = "") -> ProtocolDecision | None:
        """Return what was decided on a treatment at a site, or on the whole site in that season."""
        here = [d for d in self.protocol_decisions if (d.season, d.site) == (season, site)]
        own = [d for d in here if d.treatment == treatment]
        return next(iter([*own, *(d for d in here if not d.treatment)]), None)

    def in_season(self, year: int, date: dt.date) -> bool:
        """Say whether a date lies within the season's first and last date."""
        season = self.season(year)
        return season.first_date <= date <= season.last_date

    def _repeated(self) -> Iterator[str]:
        lists = {
            "treatments": [item.id for item in self.treatments],
            "sites": [item.id for item in self.sites],
            "seasons": [str(item.year) for item in self.seasons],
            "organisms": [item.id for item in self.organisms],
            "cull_causes": [item.id for item in self.cull_causes],
            "measures": [item.id for item in self.measures],
        }
        for part, ids in lists.items():
            for twice in sorted({name for name in ids if ids.count(name) > 1}):
                yield f"{part} lists '{twice}' twice; give each its own id"

    def _check_problems(self) -> Iterator[str]:
        checks = [treatment.id for treatment in self.treatments if treatment.check]
        if len(checks) != 1:
            found = ", ".join(checks) or "none"
            yield f"exactly one treatment must have check = true (found: {found})"
        if len(self.treatments) < 2:
            yield "a study needs the untreated check and at least one other treatment"

    def _dangling(self) -> Iterator[str]:
        organisms, causes = {o.id for o in self.organisms}, {c.id for c in self.cull_causes}
        ratings, sites = {r.id for r in self.ratings}, {s.id for s in self.sites}
        for measure in self.measures:
            where = f"measure '{measure.id}'"
            yield from _unknown(where, "organism", measure.organism, organisms)
            yield from _unknown(where, "cull_cause", measure.cull_cause, causes)
            yield from _unknown(where, "rating", measure.rating, ratings)
        for season in self.seasons:
            for site in season.sites:
                yield from _unknown(f"season {season.year}", "site", site, sites)
        treatments = {treatment.id for treatment in self.treatments}
        for rule in self.protocol:
            for treatment in rule.treatments:
                yield from _unknown(f"protocol '{rule.id}'", "treatment", treatment, treatments)
        yield from self._layout_problems(treatments, sites)
        checks = [t.id for t in self.treatments if t.check]
        if self.protocol_decisions and len(checks) == 1:
            decided, places = self.protocol_decisions, self.site_seasons()
            yield from decision_problems(decided, places, treatments, checks[0])

    def _layout_problems(self, treatments: set[str], sites: set[str]) -> Iterator[str]:
        grouped = [name for names in self.layout.whole_plots.values() for name in names]
        for treatment in grouped:
            yield from _unknown("layout.whole_plots", "treatment", treatment, treatments)
        if grouped and sorted(grouped) != sorted(treatments):
            yield "layout.whole_plots must list every treatment once"
        for site in self.layout.blocks_at:
            yield from _unknown("layout.blocks_at", "site", site, sites)
        measures = {measure.id for measure in self.measures}
        for assumption in self.layout.assumptions:
            yield from _unknown("layout.assumptions", "measure", assumption.measure, measures)
        planted = [(planting.season, planting.site) for planting in self.layout.plantings]
        for season, name in sorted({one for one in planted if planted.count(one) > 1}):
            yield f"layout.plantings names '{name}' in {season} twice; keep the right date"
        for planting in self.layout.plantings:
            yield from _unknown("layout.plantings", "site", planting.site, sites)
            if planting.season not in {season.year for season in self.seasons}:
                yield f"layout.plantings names season {planting.season}, which is not listed"
            elif not self.in_season(planting.season, planting.date):
                yield (
                    f"layout.plantings: {planting.date} at '{planting.site}' lies outside the "
                    f"season's first and last date"
                )


def _unknown(where: str, what: str, given: str | None, known: set[str]) -> Iterator[str]:
    if given is not None and given not in known:
        listed = ", ".join(sorted(known)) or "none"
        yield f"{where} names {what} '{given}', which is not declared (declared: {listed})"
