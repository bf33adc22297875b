"""The report across site-seasons, as the notebook's cells call it."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from trialkit import figures, intake
from trialkit.errors import AnalysisError
from trialkit.figures.picture import Picture
from trialkit.findings import AcrossFindings, Environment, Standing, across_findings
from trialkit.findings.consistency import prediction
from trialkit.intake import FileRecord, HandedOn
from trialkit.narrative.advice import advice_of
from trialkit.narrative.facts import Facts
from trialkit.narrative.gather import across_facts
from trialkit.narrative.names import names_table
from trialkit.narrative.protocol_text import protocol_cautions, protocol_table
from trialkit.narrative.results import reading_note, results_table
from trialkit.narrative.tables import Table, Words
from trialkit.report import across_parts, as_run, end_matter, words
from trialkit.report.display import Stack
from trialkit.report.evidence import money_together
from trialkit.report.place import open_study
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class AcrossReport:
    """Everything that the report across the study shows."""

    study: Study
    findings: AcrossFindings
    files: tuple[FileRecord, ...]
    handed_on: tuple[HandedOn, ...] = ()

    def heading(self) -> Words:
        """Title, and how many places and seasons stand behind the answer."""
        count = len(self.findings.environments)
        lines = [
            f"# {self.study.title}",
            f"**All sites and seasons: {count} site-seasons combined**",
        ]
        lines += [as_run.INVENTED] if self.study.invented else []
        return Words("\n\n".join([*lines, self.study.summary.strip()]))

    def preview(self) -> Words:
        """The narrative filled in, as on the page; save the notebook and rerun to see edits."""
        return words.filled_words(self.facts)

    def names(self) -> Table:
        """Every name that the narrative may quote, with its present value."""
        return names_table(self.facts)

    @cached_property
    def facts(self) -> Facts:
        """What the narrative may quote and its claims are judged by."""
        together = money_together(self.study, self.handed_on, self.findings.pooled.analyses)
        advice = advice_of(self.study, together)
        return across_facts(self.study, self.findings, advice, self.own_cautions())

    def own_cautions(self) -> tuple[str, ...]:
        """What a reader must know of this study: treatments that were not run as planned."""
        return tuple(protocol_cautions(self.study, self._standings))

    def site_seasons(self) -> Table:
        """Which site-seasons take part, and why the others do not."""
        return across_parts.site_seasons_table(self.study, self.findings)

    def trials(self) -> Stack:
        """The trials behind the answer: which take part, other protocols, corrections."""
        corrections = across_parts.corrections_words(self.study, self.handed_on)
        protocol = protocol_table(self.study, self._standings)
        return Stack((self.site_seasons(), protocol, corrections))

    def results(self) -> Stack:
        """A table for every measure: combined means, effects and verdicts."""
        pooled = self.findings.pooled
        found = [self.study.measure(name) for name in pooled.analyses]
        ordered = sorted(found, key=lambda measure: not measure.primary)
        tables = tuple(
            results_table(self.study, one, pooled.means, pooled.effects) for one in ordered
        )
        return Stack((reading_note(self.study), *tables, as_run.unanswered(self.study, pooled)))

    def effects_figure(self) -> Picture | Words:
        """Combined effects on the primary measures with their intervals and margins."""
        if not self._primary():
            return Words("No primary measure could be combined yet.")
        effects = self.findings.pooled.effects
        primary = effects["measure"].isin([measure.id for measure in self._primary()])
        return figures.effects(self.study, effects[primary])

    def forest_figure(self) -> Picture | Words:
        """One row per site-season and the combined effect, for the first primary measure."""
        return self._forest(0)

    def second_forest_figure(self) -> Picture | Words:
        """The same for the second primary measure."""
        return self._forest(1)

    def end_matter(self, output: str = "") -> Stack:
        """Methods and provenance; with ``output``, findings.csv is written into that folder too."""
        if output:
            intake.write_effects(Path(output), self.findings.pooled.effects)
            words.write_facts(self.facts, Path(output))
        return end_matter.end_matter(self.study, self.findings.pooled, self.files)

    @property
    def _standings(self) -> tuple[Standing, ...]:
        return across_parts.protocol_standings(self.study, self.handed_on)

    def _forest(self, which: int) -> Picture | Words:
        measures_found = self._primary()
        if which >= len(measures_found):
            return Words("The study has no further primary measure to show place by place.")
        measure, pooled = measures_found[which], self.findings.pooled
        expected = prediction(measure, pooled.analyses[measure.id], self.study.level)
        own = pooled.effects[pooled.effects["measure"] == measure.id]
        combined = own.merge(expected, on="treatment", how="left")
        return figures.forest(self.study, self.findings.effects, combined, measure.id)

    def _primary(self) -> list[Measure]:
        known = self.findings.pooled.analyses
        return [m for m in self.study.measures if m.primary and m.id in known]


def open_across(study: str | Path, reports: str | Path = "") -> AcrossReport:
    """Combine every site-season that can be used.

    ``reports`` is the folder of the study's finished reports, whose plot values and effects are
    taken as they stand; empty, every field file is read and analysed anew. Both give the same
    numbers. Raises AnalysisError where fewer than two site-seasons can be used.
    """
    plan = open_study(study)
    read = across_parts.taking_part(plan, reports)
    if len(read) < 2:
        raise AnalysisError(
            f"Only {len(read)} of {len(plan.site_seasons())} site-seasons of {plan.name} can be "
            "used; combining needs at least two. Run `trialkit check` to see what the others lack."
        )
    environments = [Environment(one.season, one.site, one.values, one.effects) for one in read]
    files = tuple(record for one in read for record in one.files)
    return AcrossReport(plan, across_findings(plan, environments), files, read)
