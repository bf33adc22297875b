"""The report of one site-season, as the notebook's cells call it: one method, one thing to show."""

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import pandas as pd

from trialkit import figures, intake, measures
from trialkit.figures.picture import Picture
from trialkit.findings import Findings, site_season_findings
from trialkit.intake import HandedOn, SiteSeason
from trialkit.narrative.facts import Facts
from trialkit.narrative.gather import Place, site_season_facts
from trialkit.narrative.names import names_table
from trialkit.narrative.results import reading_note, results_table
from trialkit.narrative.tables import Table, Words
from trialkit.report import as_run, end_matter, words
from trialkit.report.background import background_of
from trialkit.report.corrections import Undone, undone
from trialkit.report.display import Stack
from trialkit.report.place import open_study
from trialkit.report.weather import weather_of
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class SiteSeasonReport:
    """Everything that one site's report of one season shows."""

    study: Study
    data: SiteSeason
    values: pd.DataFrame
    findings: Findings

    @property
    def season(self) -> int:
        """Year of the season."""
        return self.data.season

    @property
    def site(self) -> str:
        """Id of the site."""
        return self.data.site

    def heading(self) -> Words:
        """Title, place and season, with what a reader must know before anything else."""
        return Words(as_run.heading(self.study, self.data))

    def preview(self) -> Words:
        """The narrative filled in, as on the page; save the notebook and rerun to see edits."""
        return words.filled_words(self.facts)

    def names(self) -> Table:
        """Every name that the narrative may quote, with its present value."""
        return names_table(self.facts)

    @cached_property
    def facts(self) -> Facts:
        """What the narrative may quote and its claims are judged by."""
        plots = self.data.tables["plots"]
        place = Place(
            season=self.season,
            site=self.site,
            blocks=int(plots["block"].nunique()),
            plots=len(plots),
            lost=int((plots["lost"].fillna("") != "").sum()),
            season_words=self._season_words(),
            corrections=len(self.undone.made),
            cautions=self.undone.cautions(self.study),
        )
        return site_season_facts(self.study, place, self.findings)

    @cached_property
    def undone(self) -> Undone:
        """The corrections on record, and what the findings would be without them."""
        return undone(self.study, self.data, self.values, self.findings.effects)

    def as_run(self) -> Stack:
        """The trial as it was run: layout, departures, corrections, what was left out."""
        corrections = self.undone.shown(self.study)
        return as_run.trial_as_run(self.study, self.data, self.values, corrections)

    def results(self) -> Stack:
        """A table for every measure: means, effects against the check, verdicts."""
        found = [self.study.measure(name) for name in self.findings.analyses]
        ordered = sorted(found, key=lambda measure: not measure.primary)
        means, effects = self.findings.means, self.findings.effects
        tables = tuple(results_table(self.study, one, means, effects) for one in ordered)
        note = reading_note(self.study)
        return Stack((note, *tables, as_run.unanswered(self.study, self.findings)))

    def effects_figure(self) -> Picture | Words:
        """Effects on the primary measures with their intervals and margins."""
        if not self._primary():
            return Words("No primary measure could be analysed yet.")
        effects = self.findings.effects
        primary = effects["measure"].isin([measure.id for measure in self._primary()])
        return figures.effects(self.study, effects[primary])

    def season_curve_figure(self) -> Picture | Words:
        """Pest counts through the season, with what was done marked on it."""
        if self.data.tables["scouting"].empty:
            return Words("Nothing was counted yet.")
        curve = measures.curve(self.study, self.data.tables)
        organism = next((m.organism for m in self._primary() if m.organism), None)
        counted = organism or self.study.organisms[0].id
        return figures.season_curve(self.study, curve, self.data.tables["events"], counted)

    def yield_and_culls_figure(self) -> Picture | Words:
        """Marketable yield, and what the culls were culled for."""
        if self.data.tables["harvest"].empty:
            return Words("There are no pickings yet.")
        place = (self.season, self.site, self.data.tables)
        until = measures.last_complete(self.study, *place).dates.get("harvest")
        grades = measures.grades(self.study, self.data.tables, until)
        means, plots = self.findings.means, self.values
        return figures.yield_and_culls(self.study, means, grades, plot_values=plots)

    def plot_map_figure(self) -> Picture | Words:
        """The field, each plot shaded by the first primary measure."""
        if not self._primary():
            return Words("No primary measure could be analysed yet.")
        measure = self._primary()[0].id
        return figures.plot_map(self.study, self.data.tables["plots"], self.values, measure)

    def season_figure(self) -> Picture | Words:
        """The protocol's dates, planned and done, above the weather."""
        shown = [part for part in (self._timeline(), self._weather()) if part is not None]
        if not shown:
            return Words("There is no weather on record, and no protocol rule that can be drawn.")
        return figures.below_each_other(*shown)

    def end_matter(self, output: str = "") -> Stack:
        """Methods and provenance; ``output`` is a folder for findings.csv and what goes with it."""
        if output:
            intake.write_handed_on(Path(output), self._handed_on())
            words.write_facts(self.facts, Path(output))
        return end_matter.end_matter(self.study, self.findings, self.data.files)

    def _handed_on(self) -> HandedOn:
        departures = measures.deviations(self.study, self.season, self.site, self.data.tables)
        tables = (self.values, self.findings.effects, departures, self.undone.moved)
        return HandedOn(
            self.season,
            self.site,
            *tables,
            background=background_of(self.study, self.data, self.undone),
            as_typed=self.undone.as_typed,
        )

    def _timeline(self) -> Picture | None:
        place = (self.study, self.season, self.site, self.data.tables)
        planned = measures.timeline(*place)
        return None if planned.empty else figures.timeline(self.study, planned)

    def _weather(self) -> Picture | None:
        if self.data.tables["weather"].empty:
            return None
        place = (self.study, self.season, self.site, self.data.tables)
        daily = weather_of(self.study, self.data).daily
        return figures.weather_strip(self.study, daily, measures.bloom(*place))

    def _season_words(self) -> str:
        place = (self.season, self.site, self.data.tables)
        finished = self.study.season(self.season).finished
        return "" if finished else measures.last_complete(self.study, *place).words

    def _primary(self) -> list[Measure]:
        return [m for m in self.study.measures if m.primary and m.id in self.findings.analyses]


def open_report(study: str | Path, season: int, site: str) -> SiteSeasonReport:
    """Read one site-season and analyse it.

    Raises StudyError or DataError, in words, where the files cannot be used.
    """
    plan = open_study(study)
    data = intake.read_site_season(plan, int(season), site)
    data.require_usable()
    data = replace(data, tables=measures.SteadyTables(data.tables))
    values = measures.plot_values(plan, data.season, data.site, data.tables, data.left_out)
    return SiteSeasonReport(plan, data, values, site_season_findings(plan, values))
