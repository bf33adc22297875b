"""What the final report rests on, each answer worked out once, when it is first asked for."""

from dataclasses import dataclass
from functools import cached_property

import pandas as pd

from trialkit.columns import ACROSS
from trialkit.findings import AcrossFindings, consistency, robustness, without_excluded
from trialkit.findings.costs_of import TreatmentCosts
from trialkit.findings.economics import Money, money_of
from trialkit.findings.effect_table import Scope
from trialkit.findings.gains_by_place import PlaceGains, gains_of
from trialkit.findings.recommendation import Recommendation, recommendations
from trialkit.findings.refit import Place, each_place, place_means
from trialkit.findings.still_needed import still_needed
from trialkit.inference import Analysis
from trialkit.report.evidence import Evidence
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class Answers:
    """Answers of a whole study: money, robustness, what each place says, what is still open."""

    study: Study
    findings: AcrossFindings
    evidence: Evidence
    costs: TreatmentCosts

    @cached_property
    def primary(self) -> list[Measure]:
        """The primary measures that could be combined."""
        known = self.findings.pooled.analyses
        return [m for m in self.study.measures if m.primary and m.id in known]

    @cached_property
    def finished_effects(self) -> pd.DataFrame:
        """EFFECTS of the single site-seasons that take part."""
        places = pd.DataFrame(self.findings.environments, columns=["season", "site"])
        effects = without_excluded(self.study, self.findings.effects)
        return effects.merge(places, on=["season", "site"])

    @cached_property
    def apart(self) -> dict[str, dict[Place, Analysis]]:
        """Primary measure -> its analysis in each site-season by itself."""
        finished = self.evidence.finished
        return {m.id: each_place(self.study, m, finished) for m in self.primary}

    @cached_property
    def means_by_place(self) -> dict[str, pd.DataFrame]:
        """Primary measure -> its means in each site-season."""
        return {m.id: place_means(self.apart[m.id], m) for m in self.primary}

    @cached_property
    def conditions(self) -> pd.DataFrame:
        """Weather in bloom and pest pressure in the check, by site-season."""
        counted = next((m for m in self.primary if m.family == "count"), None)
        table = self.evidence.weather
        if counted is None:
            return table
        means = self.means_by_place[counted.id]
        check = means[means["treatment"] == self.study.check.id]
        pressure = check[["season", "site", "mean"]].rename(columns={"mean": "pressure"})
        return table.merge(pressure, on=["season", "site"], how="left")

    @cached_property
    def trends(self) -> dict[str, pd.DataFrame]:
        """Primary measure -> its effects set against the conditions."""
        effects, seed = self.finished_effects, self.study.seed
        return {
            m.id: consistency.trends(effects, self.conditions, m.id, seed) for m in self.primary
        }

    @cached_property
    def sold(self) -> Analysis | None:
        """Analysis of the yield that is sold, over all finished site-seasons."""
        return self.evidence.sold_together(self.study, self.findings.pooled.analyses)

    @cached_property
    def sold_by_place(self) -> dict[Place, Analysis]:
        """The same in each finished site-season."""
        return self.evidence.sold_by_place(self.study, self.apart)

    @cached_property
    def together(self) -> Money:
        """Money over all finished site-seasons."""
        scope = Scope(0, ACROSS)
        return money_of(self.study, self.sold, self.costs, scope, self.evidence.mean_hours)

    @cached_property
    def by_place(self) -> dict[Place, PlaceGains]:
        """Gains of each site-season by itself."""
        return {
            place: gains_of(self.study, analysis, self.costs, self.evidence.hours_at(*place))
            for place, analysis in self.sold_by_place.items()
        }

    @cached_property
    def choices(self) -> dict[str, pd.DataFrame]:
        """Primary measure -> its contrasts under every choice."""
        return {m.id: self._choices_of(m) for m in self.primary}

    def _choices_of(self, measure: Measure) -> pd.DataFrame:
        options = robustness.Choices(
            self.evidence.departed,
            self.evidence.alternatives,
            self.findings.pooled.analyses[measure.id],
            self.apart[measure.id],
        )
        return robustness.robustness(self.study, measure, self.evidence.finished, options)

    @cached_property
    def without(self) -> dict[str, pd.DataFrame]:
        """Primary measure -> its contrasts without each site-season in turn."""
        finished, known = self.evidence.finished, self.findings.pooled.analyses
        return {
            m.id: consistency.without_each(self.study, m, finished, known[m.id])
            for m in self.primary
        }

    @cached_property
    def needed(self) -> pd.DataFrame:
        """What would settle each contrast of a primary measure that is not settled."""
        pooled, count = self.findings.pooled, len(self.findings.environments)
        parts = [
            still_needed(self.study, m, pooled.effects, pooled.analyses[m.id], count)
            for m in self.primary
        ]
        return pd.concat(parts, ignore_index=True) if parts else pd.DataFrame()

    @cached_property
    def recommendations(self) -> tuple[Recommendation, ...]:
        """What to do about each treatment."""
        found = self.trends[self.primary[0].id] if self.primary else None
        effects = self.findings.pooled.effects
        return recommendations(self.study, effects, self.together, self.unsteady, found)

    @property
    def unsteady(self) -> dict[str, list[str]]:
        """Treatment -> primary measures whose verdict hangs on a choice or a site-season."""
        found: dict[str, list[str]] = {}
        for measure in self.primary:
            both = pd.concat([self.choices[measure.id], self.without[measure.id]])
            for treatment in robustness.depends(both):
                found.setdefault(treatment, []).append(measure.id)
        return found
