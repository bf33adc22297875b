"""Does it pay: partial budgets of a place, with intervals, chances and what is missing.

Money is per acre or hectare in the study's currency; yields in these frames are in lb or kg per
field area, as prices are typed, and not in the canonical unit of the measures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import partial
from typing import Final

import numpy as np
import pandas as pd

from trialkit.errors import Fault
from trialkit.findings import gain
from trialkit.findings.costs_of import TreatmentCosts
from trialkit.findings.economics_pairs import PAIRS, pairs_of
from trialkit.findings.effect_table import Scope
from trialkit.findings.partial_budget import (
    Terms,
    acceptable,
    break_even,
    budgets,
    marginal_analysis,
)
from trialkit.findings.spread import level_variance_between, variance_between
from trialkit.inference import Analysis
from trialkit.inference.estimates import MarginalMeans
from trialkit.study import Economics, Study, per_field_area

# One row per treatment of a scope; money and hours per field area.
BUDGET: Final = (
    "season", "site", "treatment", "plot_yield", "field_yield", "income", "handling", "cost",
    "hours", "labour_cost", "net_return", "net_low", "net_high", "gain", "gain_low", "gain_high",
    "chance", "new_low", "new_high", "new_chance", "break_even_price", "break_even_yield",
    "return_per_hour", "dominated_by", "marginal_return", "instead_of", "word",
)  # fmt: skip


@dataclass(frozen=True)
class Money:
    """What a treatment brings in one scope.

    budget  : frame with columns BUDGET, cheapest treatment first; empty where nothing can be said.
    missing : sentences on what could not be worked out.
    faults  : what in study.toml or costs.csv has to be mended for it.
    pairs   : every treatment against every other, columns PAIRS; as empty as the budget.
    choice  : the treatment that the marginal analysis ends at, at the study's minimum rate of
              return; empty where nothing can be said.
    """

    budget: pd.DataFrame
    missing: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    pairs: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(PAIRS)))
    choice: str = ""

    def of(self, treatment: str) -> pd.Series | None:
        """Row of one treatment, None where its money is not known."""
        rows = self.budget[self.budget["treatment"] == treatment]
        return rows.iloc[0] if len(rows) else None

    def chance_over(self, treatment: str, other: str) -> float:
        """Chance that a treatment returns more than another; NaN where that is not known."""
        both = (self.pairs["treatment"] == treatment) & (self.pairs["other"] == other)
        return float(self.pairs.loc[both, "chance"].iloc[0]) if both.any() else float("nan")


def pays(money: Money, treatment: str) -> str:
    """Say whether a treatment pays: pays, does not pay, not settled, or not known."""
    row = money.of(treatment)
    return "not known" if row is None else str(row["word"])


def terms_of(part: Economics) -> Terms:
    """Terms of sale from study.toml; all amounts must have been checked."""
    wage, hours = float(part.wage), float(part.picking_hours)
    return Terms(
        price=float(part.prices["marketable"]),
        packing=float(part.packing),
        picking_hours=hours,
        wage=wage,
        kept=1.0 - float(part.yield_adjustment) / 100.0,
    )


def money_of(
    study: Study,
    analysis: Analysis | None,
    costs: TreatmentCosts,
    scope: Scope,
    event_hours: Mapping[str, float] | None = None,
) -> Money:
    """Return partial budgets of one scope.

    ``analysis`` is that of the yield that is sold, kg/m², normal family, against the check.
    ``event_hours`` (treatment -> hours per field area) come on top of the costs.
    """
    missing, part = missing_of(study, analysis, costs), study.economics
    if analysis is None or part is None or not is_known(study, costs, missing):
        return Money(pd.DataFrame(columns=list(BUDGET)), missing, costs.faults)
    means = chosen(analysis.model.means, study, costs)
    spent = costs.with_hours(event_hours or {})
    table = _budget(study, part, means, spent)
    table = table.merge(_doubt(study, means, analysis, spent), on="treatment")
    filled = table.assign(season=scope.season, site=scope.site)
    return Money(
        filled[list(BUDGET)],
        missing,
        costs.faults,
        _pairs(study, means, spent),
        acceptable(table, float(part.minimum_return)),
    )


def missing_of(study: Study, analysis: Analysis | None, costs: TreatmentCosts) -> tuple[str, ...]:
    """Sentences on what could not be worked out, those on costs first."""
    missing = [*costs.missing]
    if study.economics is None:
        missing.append("study.toml has no [economics], so prices are not known.")
    if analysis is None or analysis.model.means.link != "identity":
        missing.append("Marketable yield could not be analysed here, so income is not known.")
    return tuple(missing)


def is_known(study: Study, costs: TreatmentCosts, missing: tuple[str, ...]) -> bool:
    """Say whether money can be worked out: yield, prices, and costs of the check and another."""
    usable = not costs.blocking and study.check.id in costs.table.index and len(costs.table) > 1
    return usable and len(missing) == len(costs.missing)


def _pairs(study: Study, means: MarginalMeans, costs: pd.DataFrame) -> pd.DataFrame:
    return pairs_of(means, worth_of(study), costs_of_means(means, costs), study.level)


def chosen(means: MarginalMeans, study: Study, costs: TreatmentCosts) -> MarginalMeans:
    """Means of the treatments whose costs are known, the check first."""
    known = [name for name in study.treatment_ids if name in costs.table.index]
    place = [means.treatments.index(name) for name in known if name in means.treatments]
    square = np.ix_(place, place)
    return MarginalMeans(
        treatments=tuple(means.treatments[i] for i in place),
        estimate=means.estimate[place],
        covariance=means.covariance[square],
        df=means.df[place],
        pair_df=means.pair_df[square],
        link=means.link,
        n=means.n[place],
    )


def _budget(
    study: Study, part: Economics, means: MarginalMeans, costs: pd.DataFrame
) -> pd.DataFrame:
    terms = terms_of(part)
    shown = {
        name: per_field_area(float(value), study.units)
        for name, value in zip(means.treatments, means.estimate, strict=True)
    }
    table = marginal_analysis(budgets(shown, costs, terms))
    return table.merge(break_even(table, study.check.id, terms), on="treatment", how="left")


def gains_at(study: Study, means: MarginalMeans, costs: pd.DataFrame) -> np.ndarray:
    """Estimated gain of each treatment of ``means`` over the first, per field area."""
    worth, spent = worth_of(study), costs_of_means(means, costs)
    return np.asarray((means.estimate - means.estimate[0]) * worth - (spent - spent[0]))


def worth_of(study: Study) -> float:
    """Money per field area that a unit of the analysed yield leaves after handling."""
    return terms_of(study.economics or Economics()).worth * per_field_area(1.0, study.units)


def costs_of_means(means: MarginalMeans, costs: pd.DataFrame) -> np.ndarray:
    """Costs of the treatments of ``means``, in their order."""
    return costs["cost"].reindex(list(means.treatments)).to_numpy(float)


def simulated(study: Study, means: MarginalMeans, costs: pd.DataFrame) -> "partial[gain.Draws]":
    """Return the simulation of net returns, at the places behind ``means`` or at a new one."""
    worth, spent = worth_of(study), costs_of_means(means, costs)
    runs = (study.economics or Economics()).runs
    return partial(gain.simulate, means, lambda y: y * worth - spent, runs=runs, seed=study.seed)


def _doubt(
    study: Study, means: MarginalMeans, analysis: Analysis, costs: pd.DataFrame
) -> pd.DataFrame:
    """Intervals and chances by treatment: here, and where known at a place not yet tried."""
    run = simulated(study, means, costs)
    here = run()
    net, extra = gain.interval(here.net, study.level), gain.interval(here.gain, study.level)
    found = {
        "treatment": list(means.treatments),
        "net_low": net[0],
        "net_high": net[1],
        "gain": gains_at(study, means, costs),
        "gain_low": extra[0],
        "gain_high": extra[1],
        "chance": gain.chance_of_gain(here),
    }
    table = pd.DataFrame(found | _elsewhere(run, analysis, study.level, len(means.treatments)))
    ends = zip(table["gain_low"], table["gain_high"], strict=True)
    words = [gain.pays(low, high) for low, high in ends]
    table["word"] = ["check", *words[1:]]
    table.loc[0, ["gain_low", "gain_high", "new_low", "new_high"]] = np.nan
    return table


def _elsewhere(
    run: "partial[gain.Draws]", analysis: Analysis, level: float, k: int
) -> dict[str, np.ndarray]:
    """Gain at a place not yet tried; nothing where only one place was analysed."""
    components = analysis.model.components
    if "environment:treatment" not in components:
        nothing = np.full(k, np.nan)
        return {"new_low": nothing, "new_high": nothing, "new_chance": nothing}
    place = gain.Spread(
        level_variance_between(analysis),
        variance_between(analysis),
    )
    new = run(new_place=place)
    low, high = gain.interval(new.gain, level)
    return {"new_low": low, "new_high": high, "new_chance": gain.chance_of_gain(new)}
