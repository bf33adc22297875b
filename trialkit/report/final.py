"""The final report of a study, as the notebook's cells call it: what growers should do, and why."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Final

from trialkit import figures, intake
from trialkit.errors import AnalysisError
from trialkit.figures.picture import Picture
from trialkit.findings import (
    AcrossFindings,
    across_findings,
    consistency,
    robustness,
)
from trialkit.findings.costs_of import TreatmentCosts
from trialkit.findings.economics_grid import fitted, price_cost_grid
from trialkit.findings.still_needed import ASSUMED
from trialkit.intake import FileRecord, HandedOn
from trialkit.narrative import phrases
from trialkit.narrative.advice import advice_of
from trialkit.narrative.facts import Facts
from trialkit.narrative.gather import across_facts
from trialkit.narrative.names import names_table
from trialkit.narrative.tables import Table, Words
from trialkit.report import across_parts, as_run, end_matter, money, travel, words
from trialkit.report.across import AcrossReport
from trialkit.report.answers import Answers
from trialkit.report.display import Fold, Part, Several, Stack, bullets
from trialkit.report.evidence import Evidence, costs_of, evidence_of
from trialkit.report.place import open_study
from trialkit.study import Measure, Study

CONDITIONS: Final = {
    "pressure": "Pest pressure in the check",
    "wet_days": "Wet days in bloom",
    "hot_days": "Hot days in bloom",
}


@dataclass(frozen=True)
class FinalReport:
    """Everything that the final report shows; each part is worked out when first asked for."""

    study: Study
    findings: AcrossFindings
    evidence: Evidence
    costs: TreatmentCosts
    files: tuple[FileRecord, ...] = ()
    handed_on: tuple[HandedOn, ...] = ()

    def heading(self) -> Words:
        """Title, and how many places and seasons stand behind the answer."""
        count = len(self.findings.environments)
        lines = [f"# Final report: {self.study.title}", f"**{count} site-seasons combined**"]
        lines += [as_run.INVENTED] if self.study.invented else []
        return Words("\n\n".join([*lines, self.study.summary.strip()]))

    def recommendation(self) -> Stack:
        """One row per treatment, and the rules that the last columns follow."""
        table = travel.recommendation_table(self.study, self.answers.recommendations)
        decided = Words("How these are decided:\n\n" + bullets(travel.rules()))
        own = self._across.own_cautions()
        cautions = Words("### Cautions\n\n" + bullets([*own, *phrases.cautions(self.study)]))
        return Stack((table, decided, cautions))

    def done(self) -> Stack:
        """Which site-seasons take part, why the others do not, and what was corrected."""
        return self._across.trials()

    def forest_figures(self) -> Several:
        """A row per site-season, the combined effect and where one more is expected."""
        return Several((self._across.forest_figure(), self._across.second_forest_figure()))

    def names(self) -> Table:
        """Every name that the text may quote, with its present value."""
        return names_table(self.facts)

    def money(self) -> Stack:
        """Partial budgets, gains and chances, together and place by place; what is missing."""
        study, together, by_place = self.study, self.answers.together, self.answers.by_place
        words = money.missing_words([together, *by_place.values()])
        if together.budget.empty:
            return Stack((words,))
        budget = money.budget_table(study, together, "Partial budgets, all site-seasons")
        gains = money.gain_table(study, together)
        return Stack((budget, gains, money.place_table(study, by_place), words))

    def price_cost_figure(self) -> Picture | Words:
        """The best treatment at other prices and costs."""
        analysis, part = self.answers.sold, self.study.economics
        if analysis is None or part is None or self.answers.together.budget.empty:
            return Words("Prices and costs are not known, so no treatment can be put first.")
        fit = fitted(self.study, analysis, self.costs, self.evidence.mean_hours)
        grid = price_cost_grid(fit, part.price_factors, part.cost_factors)
        return figures.price_cost_grid(self.study, grid)

    def explore(self) -> Any:
        """Sliders for price and costs, in JupyterLab (needs the extra ``explore``)."""
        from trialkit.report.explorer import explorer

        if self.answers.sold is None or self.answers.together.budget.empty:
            return Words("Prices and costs are not known, so there is nothing to explore.")
        fit = fitted(self.study, self.answers.sold, self.costs, self.evidence.mean_hours)
        return explorer(self.study, fit)

    def travel(self) -> Several:
        """Whether effects travel: between places, season by season, without each, with pressure."""
        parts: list[Part] = []
        for measure in self.answers.primary:
            parts += self._travel_of(measure)
        told = Words(f"{consistency.LOOKING_EARLY}\n\n{consistency.EXPLORATORY}")
        return Several((Stack((*parts, told)), *self._pressure_figures()))

    def robustness_figures(self) -> Several:
        """The primary measures under every choice that can be defended."""
        tables = [self.answers.choices[measure.id] for measure in self.answers.primary]
        about = "under every choice that can be defended"
        return Several(tuple(figures.versions(self.study, table, about) for table in tables))

    def still_open(self) -> Stack:
        """Where a verdict depends on a choice; what is not settled, and what would settle it."""
        choices, open_ones = self.answers.choices, self.answers.needed
        told = [
            sentence
            for measure in self.answers.primary
            for sentence in robustness.in_words(self.study, measure, choices[measure.id])
        ]
        settled = Words("Every contrast of a primary measure is settled.")
        needed = settled if open_ones.empty else travel.needed_table(self.study, open_ones)
        return Stack((
            Words("### Does it depend on how we looked\n\n" + bullets(told)),
            Words("### What would settle the rest"),
            needed,
            Words(ASSUMED),
        ))  # fmt: skip

    def end_matter(self, output: str = "") -> Stack:
        """Methods and provenance; with ``output``, findings.csv is written into that folder too."""
        if output:
            intake.write_effects(Path(output), self.findings.pooled.effects)
            words.write_facts(self.facts, Path(output))
        return end_matter.end_matter(self.study, self.findings.pooled, self.files)

    @cached_property
    def answers(self) -> Answers:
        """What the parts show, each answer worked out once."""
        return Answers(self.study, self.findings, self.evidence, self.costs)

    @cached_property
    def facts(self) -> Facts:
        """What the text may quote, and what its claims, "pays" among them, are judged by."""
        advice = advice_of(self.study, self.answers.together, self.answers.recommendations)
        return across_facts(self.study, self.findings, advice)

    @property
    def _across(self) -> AcrossReport:
        return AcrossReport(self.study, self.findings, self.files, self.handed_on)

    def _travel_of(self, measure: Measure) -> list[Part]:
        study, finished = self.study, self.evidence.finished
        analysis = self.findings.pooled.analyses[measure.id]
        means = self.answers.means_by_place[measure.id]
        seasons = consistency.season_by_season(study, measure, finished)
        trends = self.answers.trends[measure.id]
        predicted = consistency.prediction(measure, analysis, study.level)
        without, effects = self.answers.without[measure.id], self.findings.pooled.effects
        what = consistency.left_out_in_turn(finished)
        told = travel.without_words(study, measure, effects, without, what)
        untested = travel.untested_words(trends, CONDITIONS)
        details = (
            travel.versions_table(study, measure, without, "Without each place"),
            travel.rank_table(study, measure, consistency.ranks(means, measure)),
            travel.trend_table(study, measure, trends, CONDITIONS),
            Words(untested),
        )
        return [
            Words(f"### {measure.name}\n\n{consistency.between_words(study, measure, analysis)}"),
            travel.prediction_table(study, measure, predicted),
            travel.versions_table(study, measure, seasons, "Evidence season by season"),
            Words(told),
            Fold(f"{measure.name}: without each place, ranks, pressure and weather", details),
        ]

    def _pressure_figures(self) -> list[Picture]:
        """The first primary measure against pest pressure, where that was counted."""
        if "pressure" not in self.answers.conditions or not self.answers.primary:
            return []
        effects = self.answers.finished_effects
        own = effects[effects["measure"] == self.answers.primary[0].id]
        label = CONDITIONS["pressure"].lower()
        return [figures.pressure(self.study, own, self.answers.conditions, "pressure", label)]


def open_final(study: str | Path, reports: str | Path = "") -> FinalReport:
    """Gather every site-season of a study, its costs and prices, and work out what follows.

    ``reports`` is the folder of the study's finished reports, whose handed-on tables are taken as
    they stand; empty, every field file is read and analysed anew. Both give the same numbers.
    Raises AnalysisError where fewer than two finished site-seasons can be used.
    """
    plan = open_study(study)
    read = across_parts.taking_part(plan, reports)
    evidence, (costs, costs_files) = evidence_of(plan, read), costs_of(plan)
    if len(evidence.finished) < 2:
        raise AnalysisError(
            f"A final report needs two finished site-seasons or more; {plan.name} has "
            f"{len(evidence.finished)}. Run `trialkit check` to see what the others lack."
        )
    files = (*(record for one in read for record in one.files), *costs_files)
    findings = across_findings(plan, evidence.environments)
    return FinalReport(plan, findings, evidence, costs, files, read)
