"""The recommendation: one row a treatment, from verdicts, money and consistency by stated rules."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from trialkit.findings.economics import Money, pays
from trialkit.findings.effect_table import records
from trialkit.study import Measure, Study

Decision = Literal["recommend", "recommend with conditions", "keep testing", "drop"]

RULES: Final[Mapping[Decision, str]] = {
    "recommend": "a worthwhile improvement in a primary measure, no setback in another, it pays, "
    "no verdict hangs on one site-season or one choice of analysis, and no other treatment that "
    "costs no more probably returns more",
    "recommend with conditions": "a worthwhile improvement and no setback, but whether it pays, "
    "whether it holds everywhere, or whether a cheaper treatment does better, depends on the "
    "conditions named",
    "keep testing": "anything else: the data neither recommend it nor rule it out",
    "drop": "no primary measure is improved, and it does not pay or a primary measure is set back "
    "or none can differ by a worthwhile amount",
}
LIKELY: Final = 0.75


@dataclass(frozen=True)
class Recommendation:
    """What the study says about one treatment.

    effects   : measure -> row of EFFECTS over all site-seasons, primary measures only.
    money     : pays, does not pay, not settled or not known; row of BUDGET where known.
    unsteady  : measures whose verdict changes without one site-season or under another choice.
    decision, conditions : by RULES; conditions in plain words, empty where none.
    beaten_by : another treatment that costs no more and returns more on the estimates (dominance,
                CIMMYT 1988, chapter 4), with the chance that it does; empty where there is none.
    """

    treatment: str
    effects: Mapping[str, Mapping[str, Any]]
    money: str
    budget: Mapping[str, Any] | None
    unsteady: tuple[str, ...]
    decision: Decision
    conditions: tuple[str, ...]
    beaten_by: str = ""
    beaten_chance: float = float("nan")

    @property
    def chance_elsewhere(self) -> float:
        """Chance of beating the check at a place not yet tried; NaN where not known."""
        return float("nan") if self.budget is None else float(self.budget["new_chance"])


def recommendations(
    study: Study,
    effects: pd.DataFrame,
    money: Money,
    unsteady: Mapping[str, Iterable[str]] | None = None,
    trends: pd.DataFrame | None = None,
) -> tuple[Recommendation, ...]:
    """Return one recommendation per treatment, in study order.

    ``effects`` are EFFECTS over all site-seasons; ``unsteady`` maps a treatment to the measures
    whose verdict depends on a site-season or a choice; ``trends`` as from consistency.trends
    for the first primary measure.
    """
    primary = [measure.id for measure in study.measures if measure.primary]
    shaky = {name: tuple(measures) for name, measures in (unsteady or {}).items()}
    found = []
    for treatment in study.treatment_ids[1:]:
        own = effects[(effects["treatment"] == treatment) & effects["measure"].isin(primary)]
        rows = {str(row["measure"]): row for row in records(own)}
        row = money.of(treatment)
        word, unsure = pays(money, treatment), shaky.get(treatment, ())
        verdicts = [(r["verdict"], r["direction"]) for r in rows.values()]
        other, chance = beaten(study, money, treatment)
        decision = after_others(decide(verdicts, word, row, unsure), chance)
        conditions = _conditions(study, treatment, decision, word, row, unsure, trends)
        budget = None if row is None else {str(k): v for k, v in row.items()}
        found.append(
            Recommendation(
                treatment=treatment,
                effects=rows,
                money=word,
                budget=budget,
                unsteady=unsure,
                decision=decision,
                conditions=(*conditions, *_instead(study, decision, other, chance)),
                beaten_by=other,
                beaten_chance=chance,
            )
        )
    return tuple(found)


def beaten(study: Study, money: Money, treatment: str) -> tuple[str, float]:
    """The treatment, not the check, that dominates this one, and how probably it returns more."""
    row = money.of(treatment)
    other = "" if row is None or pd.isna(row["dominated_by"]) else str(row["dominated_by"])
    if other in ("", study.check.id):
        return "", float("nan")
    return other, money.chance_over(other, treatment)


def after_others(decision: Decision, chance_beaten: float) -> Decision:
    """Take back a plain recommendation where a treatment that costs no more probably does better.

    >>> after_others("recommend", 0.9), after_others("recommend", 0.6)
    ('recommend with conditions', 'recommend')
    """
    if decision == "recommend" and chance_beaten >= LIKELY:
        return "recommend with conditions"
    return decision


def _instead(study: Study, decision: Decision, other: str, chance: float) -> list[str]:
    if decision not in ("recommend", "recommend with conditions") or not chance >= LIKELY:
        return []
    name = study.treatment(other).label
    return [f"only where {name} cannot be used: it costs no more and probably returns more"]


def decide(
    verdicts: Iterable[tuple[str, str]],
    money: str,
    budget: pd.Series | None = None,
    unsteady: Iterable[str] = (),
) -> Decision:
    """Apply RULES to (verdict, direction) of the primary measures and to what money says.

    Money that is not settled still allows a recommendation with conditions where the chance of
    beating the check is at least three in four.

    >>> decide([("worthwhile", "better"), ("some effect", "better")], "pays")
    'recommend'
    >>> decide([("worthwhile", "better"), ("some effect", "worse")], "pays")
    'keep testing'
    >>> decide([("no worthwhile difference", "none")], "does not pay")
    'drop'
    """
    judged = list(verdicts)
    improved = any(v == "worthwhile" and d == "better" for v, d in judged)
    set_back = any(d == "worse" and v in ("worthwhile", "some effect") for v, d in judged)
    helped = any(d == "better" and v in ("worthwhile", "some effect") for v, d in judged)
    if improved and not set_back:
        if money == "pays":
            return "recommend with conditions" if list(unsteady) else "recommend"
        likely = budget is not None and float(budget["chance"]) >= LIKELY
        return "recommend with conditions" if money == "not settled" and likely else "keep testing"
    nothing = bool(judged) and all(v == "no worthwhile difference" for v, _ in judged)
    if not helped and (money == "does not pay" or set_back or nothing):
        return "drop"
    return "keep testing"


def _conditions(
    study: Study,
    treatment: str,
    decision: Decision,
    money: str,
    budget: pd.Series | None,
    unsteady: tuple[str, ...],
    trends: pd.DataFrame | None,
) -> tuple[str, ...]:
    if decision not in ("recommend", "recommend with conditions"):
        return ()
    said = []
    if money == "not settled" and budget is not None:
        price = float(budget["break_even_price"])
        if np.isfinite(price):
            said.append(f"where the price is clearly above {price:,.2f} {study.currency}")
    if unsteady:
        names = " and ".join(study.measure(name).name.lower() for name in unsteady)
        said.append(f"with the caution that the verdict on {names} is not firm")
    said += _pressure(study, treatment, trends)
    return tuple(said)


def _pressure(study: Study, treatment: str, trends: pd.DataFrame | None) -> list[str]:
    """A condition on pest pressure, where the effect clearly goes along with it (exploratory).

    The p value is taken times the number of treatments that were looked at (Bonferroni).
    """
    if trends is None or trends.empty:
        return []
    looked_at = trends[trends["condition"] == "pressure"]
    own = looked_at[looked_at["treatment"] == treatment]
    if own.empty or own["p"].iloc[0] * looked_at["treatment"].nunique() > 0.05:
        return []
    falls, lower_is_better = own["slope"].iloc[0] < 0, _first_primary(study).lower_is_better
    where = "high" if falls == lower_is_better else "low"
    return [f"first of all where pest pressure is {where} (exploratory)"]


def _first_primary(study: Study) -> Measure:
    return next(measure for measure in study.measures if measure.primary)
