"""The report across site-seasons, as the notebook's cells call it."""

from dataclasses import dataclass, field
from pathlib import Path

from trialkit import figures, intake, measures
from trialkit.errors import AnalysisError, Fault
from trialkit.figures.picture import Picture
from trialkit.findings import AcrossFindings, Environment, across_findings, site_season_findings
from trialkit.intake import FileRecord
from trialkit.narrative import phrases
from trialkit.narrative.results import results_table
from trialkit.narrative.tables import Column, Table, Words
from trialkit.report import as_run, end_matter
from trialkit.report.display import Stack, bullets
from trialkit.report.place import open_study
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class AcrossReport:
    """Everything that the report across the study shows."""

    study: Study
    findings: AcrossFindings
    files: tuple[FileRecord, ...]
    faults: tuple[Fault, ...] = field(default=())

    def heading(self) -> Words:
        """Title, and how many places and seasons stand behind the answer."""
        count = len(self.findings.environments)
        lines = [
            f"# {self.study.title}",
            f"**All sites and seasons: {count} site-seasons combined**",
        ]
        lines += [as_run.INVENTED] if self.study.invented else []
        return Words("\n\n".join([*lines, self.study.summary.strip()]))

    def summary(self) -> Words:
        """What all site-seasons together say about the primary measures."""
        effects = self.findings.pooled.effects
        sentences = phrases.findings_list(effects, self.study, self._primary())
        return Words(bullets(sentences or ["Nothing could be combined yet; see below for why."]))

    def grower(self) -> Words:
        """What it means for a grower, and the cautions that go with it."""
        effects = self.findings.pooled.effects
        told = phrases.grower_sentences(effects, self.study, self._primary())
        cautions = bullets(phrases.cautions(self.study))
        return Words(f"{bullets(told)}\n\n### Cautions\n\n{cautions}")

    def site_seasons(self) -> Table:
        """Which site-seasons take part, and why the others do not."""
        taking = [(place, "takes part") for place in self.findings.environments]
        missing = [(place, f"left out: {why}") for place, why in self.findings.left_out.items()]
        rows = [
            (self.study.site(site).name, str(season), said)
            for (season, site), said in sorted(taking + missing)
        ]
        heads = [Column("Site"), Column("Season"), Column("Combined answer")]
        return Table.of("Site-seasons", heads, rows)

    def results(self) -> Stack:
        """A table for every measure: combined means, effects and verdicts."""
        pooled = self.findings.pooled
        found = [self.study.measure(name) for name in pooled.analyses]
        ordered = sorted(found, key=lambda measure: not measure.primary)
        tables = tuple(
            results_table(self.study, one, pooled.means, pooled.effects) for one in ordered
        )
        return Stack((*tables, as_run.unanswered(self.study, pooled)))

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
            end_matter.write_findings(self.findings.pooled, Path(output))
        methods = end_matter.methods(self.study, self.findings.pooled)
        return Stack((methods, *end_matter.provenance(self.study, self.files)))

    def _forest(self, which: int) -> Picture | Words:
        measures_found = self._primary()
        if which >= len(measures_found):
            return Words("The study has no further primary measure to show place by place.")
        single, pooled = self.findings.effects, self.findings.pooled.effects
        return figures.forest(self.study, single, pooled, measures_found[which].id)

    def _primary(self) -> list[Measure]:
        known = self.findings.pooled.analyses
        return [m for m in self.study.measures if m.primary and m.id in known]


def open_across(study: str | Path) -> AcrossReport:
    """Read and analyse every site-season whose files can be used, and combine them.

    Raises AnalysisError where fewer than two can.
    """
    plan = open_study(study)
    read = [intake.read_site_season(plan, season, site) for season, site in plan.site_seasons()]
    usable = [data for data in read if data.usable]
    if len(usable) < 2:
        raise AnalysisError(
            f"Only {len(usable)} of {len(read)} site-seasons of {plan.name} can be used; combining "
            "needs at least two. Run `trialkit check` to see what the others lack."
        )
    environments = [_environment(plan, data) for data in usable]
    files = tuple(record for data in usable for record in data.files)
    faults = tuple(fault for data in read for fault in data.faults)
    return AcrossReport(plan, across_findings(plan, environments), files, faults)


def _environment(study: Study, data: intake.SiteSeason) -> Environment:
    values = measures.plot_values(study, data.season, data.site, data.tables, data.left_out)
    return Environment(data.season, data.site, values, site_season_findings(study, values))
