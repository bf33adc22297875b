"""What to tell growers: whether a treatment pays and what is recommended, as claims to be checked.

Every sentence is bound to the money and to the decisions of the study, so that an edit of its
wording keeps the check, and a claim that no longer holds is marked.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import pandas as pd

from trialkit.findings.economics import Money
from trialkit.findings.effect_table import records
from trialkit.findings.recommendation import Recommendation
from trialkit.narrative.default_text import bullets
from trialkit.narrative.facts import Decision, Facts, Payoff
from trialkit.narrative.money_words import chance_words, in_money, ranged
from trialkit.narrative.phrases import lower_first
from trialkit.narrative.values import Value, words
from trialkit.study import FIELD_AREA, WEIGHT_UNIT, Study

NOT_KNOWN: Final = "Prices or costs are not known, so whether a treatment pays was not worked out."
CHEAPEST: Final = "the untreated check, which costs nothing more"
_CLAIMS: Final = {
    "recommend": ("is recommended", "is recommended"),
    "recommend with conditions": ("is recommended with conditions",) * 2,
    "keep testing": ("needs more testing before it can be recommended", "needs more testing"),
    "drop": ("is not recommended", "is not recommended"),
}


@dataclass(frozen=True)
class Advice:
    """Money and decisions as text needs them; all empty where nothing is known.

    values : name -> value that a text may quote, such as ``netting.gain``.
    """

    payoffs: Mapping[str, Payoff] = field(default_factory=dict)
    decisions: Mapping[str, Decision] = field(default_factory=dict)
    values: Mapping[str, Value] = field(default_factory=dict)


def advice_of(study: Study, money: Money, found: Sequence[Recommendation] = ()) -> Advice:
    """Gather what text may say of money, and of the recommendations where there are any."""
    rows = {str(row["treatment"]): row for row in records(money.budget)}
    known = [name for name in study.treatment_ids[1:] if name in rows]
    payoffs = {name: _payoff(study, money, rows[name]) for name in known}
    values = dict(pair for name in known for pair in _values(study, rows[name]))
    if money.choice:
        values["money.choice"] = words(_choice(study, money), "where the marginal analysis ends")
    decisions = {one.treatment: _decision(one) for one in found}
    values |= dict(pair for one in found for pair in _advice_values(study, one))
    return Advice(payoffs, decisions, values)


def with_advice(facts: Facts, advice: Advice) -> Facts:
    """Add money and decisions to facts, and the values that they give."""
    values = {**facts.values, **advice.values}
    return replace(facts, payoffs=advice.payoffs, decisions=advice.decisions, values=values)


def advice_texts(facts: Facts) -> dict[str, str]:
    """Default texts by name: what pays, and what is recommended where anything is."""
    told = {"money": money_sentences(facts), "advice": advice_sentences(facts)}
    return {name: bullets(sentences) for name, sentences in told.items() if sentences}


def money_sentences(facts: Facts) -> list[str]:
    """A sentence for each treatment on whether it pays."""
    told = [_pays_text(name, facts) for name in facts.payoffs]
    if "money.choice" in facts.values:
        told.append("On the estimates alone, going up from the cheapest, the marginal analysis "
                    "ends at {eval}`money.choice`.")  # fmt: skip
    return told or [NOT_KNOWN]


def advice_sentences(facts: Facts) -> list[str]:
    """A sentence or two for each treatment: what to do, under which conditions, how sure."""
    return [_advice_text(name, facts) for name in facts.decisions]


def _pays_text(treatment: str, facts: Facts) -> str:
    name, payoff = facts.treatments[treatment], facts.payoffs[treatment]
    gain = f"{{eval}}`{treatment}.gain_interval`"
    if payoff.verdict == "not settled":
        claim = f"{{claim}}`Whether {lower_first(name)} pays is not settled <{treatment} may pay>`"
        return f"{claim}: the gain over the check lies anywhere from {gain}."
    verb = payoff.verdict
    return (
        f"{{claim}}`{name} {verb} <{treatment} {verb}>`: the gain over the check is "
        f"{{eval}}`{treatment}.gain` (interval: {gain})."
    )


def _advice_text(treatment: str, facts: Facts) -> str:
    said, verb = _CLAIMS[facts.decisions[treatment].word]
    told = [f"{{claim}}`{facts.treatments[treatment]} {said} <{treatment} {verb}>`"]
    if f"{treatment}.conditions" in facts.values:
        told.append(f", {{eval}}`{treatment}.conditions`")
    told.append(".")
    if treatment in facts.payoffs:
        told.append(
            f" On a farm not yet tried it returns more than the check with a chance of "
            f"{{eval}}`{treatment}.chance_elsewhere`."
        )
    return "".join(told)


def _payoff(study: Study, money: Money, row: Mapping[str, Any]) -> Payoff:
    name = str(row["treatment"])
    gain = ranged(row["gain"], row["gain_low"], row["gain_high"])
    told = f"gain over the check {gain} {_per_area(study)}"
    if not pd.isna(row["chance"]):
        told += f"; chance of a gain {chance_words(row['chance'])}"
    own = records(money.pairs[money.pairs["treatment"] == name])
    return Payoff(str(row["word"]), told, {str(r["other"]): _against(study, r) for r in own})


def _against(study: Study, row: Mapping[str, Any]) -> tuple[str, str]:
    low, high = float(row["gain_low"]), float(row["gain_high"])
    word = "more" if low > 0 else "less" if high < 0 else "not settled"
    gain = ranged(row["gain"], low, high)
    told = f"difference in net return {gain} {_per_area(study)}"
    return word, f"{told}; chance of more {chance_words(row['chance'])}"


def _values(study: Study, row: Mapping[str, Any]) -> Iterator[tuple[str, Value]]:
    name, per = str(row["treatment"]), _per_area(study)
    about = study.treatment(name).name
    ends = f"{in_money(row['gain_low'])} to {in_money(row['gain_high'])}"
    told = {
        "gain": (f"{in_money(row['gain'])} {per}", "gain over the check"),
        "gain_interval": (f"{ends} {per}", "interval of the gain"),
        "chance": (chance_words(row["chance"]), "chance of a gain, farms as tried"),
        "chance_elsewhere": (chance_words(row["new_chance"]), "the same on a farm not yet tried"),
        "net_return": (f"{in_money(row['net_return'])} {per}", "net return"),
        "hours": (f"{row['hours']:,.0f} hours per {FIELD_AREA[study.units]}", "labour"),
    }
    price = row["break_even_price"]
    if not pd.isna(price):
        unit = f"{study.currency} per {WEIGHT_UNIT[study.units]}"
        told["break_even_price"] = (f"{price:,.2f} {unit}", "price at which it pays")
    for key, (text, what) in told.items():
        yield f"{name}.{key}", words(text, f"{about}: {what}")


def _advice_values(study: Study, one: Recommendation) -> Iterator[tuple[str, Value]]:
    name = study.treatment(one.treatment).name
    yield f"{one.treatment}.decision", words(one.decision, f"{name}: recommendation")
    if one.conditions:
        told = "; ".join(one.conditions)
        yield f"{one.treatment}.conditions", words(told, f"{name}: conditions")


def _decision(one: Recommendation) -> Decision:
    under = f": {'; '.join(one.conditions)}" if one.conditions else ""
    return Decision(one.decision, f"by the rules of this report: {one.decision}{under}")


def _choice(study: Study, money: Money) -> str:
    least = float(study.economics.minimum_return) if study.economics else 0.0
    name = lower_first(study.treatment(money.choice).name)
    chosen = CHEAPEST if money.choice == study.check.id else name
    return f"{chosen} (asking at least {least:g} % return on every extra {study.currency} spent)"


def _per_area(study: Study) -> str:
    return f"{study.currency} per {FIELD_AREA[study.units]}"
