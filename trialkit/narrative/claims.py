"""Claims: sentences bound to a condition, judged by the verdicts of the report's own findings."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Final, Literal

from trialkit.errors import TrialkitError, sentence
from trialkit.narrative.conditions import ADVICE, MONEY, Condition, read_condition
from trialkit.narrative.facts import EffectFact, Facts
from trialkit.narrative.numbers import change, change_range, with_unit

Standing = Literal["supported", "contradicted", "not settled", "cannot be judged"]

EFFECT: Final = ("worthwhile", "some effect")
LABELS: Final[dict[Standing, str]] = {
    "supported": "Supported by the data",
    "contradicted": "Contradicted by the data",
    "not settled": "Not settled by the data",
    "cannot be judged": "Cannot be judged by the data",
}
# The worst finding decides a claim about every place.
_WORST_FIRST: Final[tuple[Standing, ...]] = ("contradicted", "not settled", "cannot be judged")


@dataclass(frozen=True)
class Claim:
    """A claim as judged: the sentence, its condition, how it stands, and why in words.

    ``cell`` and ``line`` say where it is written.
    """

    text: str
    condition: str
    standing: Standing
    note: str
    cell: str = ""
    line: int = 0

    @property
    def is_supported(self) -> bool:
        """True when the data say it."""
        return self.standing == "supported"


def judge_claim(text: str, condition: str, facts: Facts) -> Claim:
    """Judge one claim; a condition that cannot be read cannot be judged, and says why."""
    try:
        read = read_condition(condition, facts)
    except TrialkitError as error:
        return Claim(text, condition, "cannot be judged", sentence(str(error)))
    standing, note = _judged(read, facts)
    return Claim(text, condition, standing, sentence(note))


def _judged(condition: Condition, facts: Facts) -> tuple[Standing, str]:
    if condition.verb in MONEY:
        return _pays(condition, facts)
    if condition.verb == "returns more than":
        return _returns_more(condition, facts)
    if condition.verb in ADVICE:
        return _recommended(condition, facts)
    if condition.measure in facts.unanswered:
        return "cannot be judged", facts.unanswered[condition.measure]
    if condition.extents:
        return _everywhere(condition, facts)
    effect = facts.effect(condition.treatment, condition.measure)
    if effect is None:
        return "cannot be judged", "there is no finding on this treatment and measure here"
    return standing_of(condition, effect, facts), evidence(effect, facts)


def standing_of(condition: Condition, effect: EffectFact, facts: Facts) -> Standing:
    """How a condition stands by one effect, from its interval and verdict alone."""
    if not (effect.low <= effect.high):  # an end that is not a number
        return "cannot be judged"
    if condition.verb == "is not settled for":
        return "supported" if effect.verdict == "not settled" else "contradicted"
    if condition.least is not None:
        return _by_amount(condition, effect, facts)
    if effect.verdict == "not settled":
        return "not settled"
    if condition.verb == "does not change":
        return "supported" if effect.verdict not in EFFECT else "contradicted"
    if effect.verdict not in EFFECT:
        return "contradicted"
    if (effect.high < 0) != _points_down(condition, facts):
        return "contradicted"
    if condition.worthwhile and effect.verdict != "worthwhile":
        return "not settled"
    return "supported"


def _by_amount(condition: Condition, effect: EffectFact, facts: Facts) -> Standing:
    """Whether the whole interval lies beyond the amount, short of it, or on both sides."""
    if condition.least is None or condition.unit != effect.unit:
        return "cannot be judged"
    down = _points_down(condition, facts)
    near, far = (-effect.high, -effect.low) if down else (effect.low, effect.high)
    if near >= condition.least:
        return "supported"
    return "contradicted" if far < condition.least else "not settled"


def _points_down(condition: Condition, facts: Facts) -> bool:
    lower_is_better = facts.measures[condition.measure].lower_is_better
    return {
        "lowers": True,
        "raises": False,
        "improves": lower_is_better,
        "worsens": not lower_is_better,
    }[condition.verb]


def evidence(effect: EffectFact, facts: Facts) -> str:
    """What the data say instead: verdict, estimate and interval in words."""
    level = with_unit(f"{100 * facts.level:g}", "%")
    name = facts.measures[effect.measure].name
    estimate = "" if effect.bound else f"{change(effect.effect, effect.unit)}, "
    interval = change_range(effect.low, effect.high, effect.unit)
    return f"{name}, {effect.verdict}: {estimate}{level} interval {interval}"


def _everywhere(condition: Condition, facts: Facts) -> tuple[Standing, str]:
    """A claim about every site or season must hold in each finished site-season on its own."""
    if not facts.across:
        return "cannot be judged", (
            "this report is about one site and season; make the claim in the report across all"
        )
    rows = [
        effect
        for effect in facts.singles
        if (effect.treatment, effect.measure) == (condition.treatment, condition.measure)
    ]
    if not rows:
        return "cannot be judged", "no finished site-season has a finding on it"
    standings = [standing_of(condition, row, facts) for row in rows]
    worst: Standing = next((one for one in _WORST_FIRST if one in standings), "supported")
    holds = standings.count("supported")
    where = _first(zip(standings, rows, strict=True), worst)
    note = f"it holds in {holds} of {len(rows)} finished site-seasons"
    if worst != "supported" and where is not None:
        note += f"; not in {where.season} at {where.site}: {evidence(where, facts)}"
    return worst, note


def _first(pairs: Iterable[tuple[Standing, EffectFact]], standing: Standing) -> EffectFact | None:
    return next((row for one, row in pairs if one == standing), None)


NO_MONEY: Final = (
    "whether it pays was not worked out here, for want of prices or costs, or because only the "
    "reports on the whole study do"
)
NO_ADVICE: Final = "nothing is recommended here; make the claim in the final report"


def _pays(condition: Condition, facts: Facts) -> tuple[Standing, str]:
    payoff = facts.payoffs.get(condition.treatment)
    if payoff is None or condition.extents:
        return "cannot be judged", NO_MONEY
    if condition.verb == "may pay":
        return ("supported" if payoff.verdict == "not settled" else "contradicted"), payoff.words
    if payoff.verdict not in ("pays", "does not pay"):
        return "not settled", payoff.words
    return ("supported" if payoff.verdict == condition.verb else "contradicted"), payoff.words


def _returns_more(condition: Condition, facts: Facts) -> tuple[Standing, str]:
    payoff = facts.payoffs.get(condition.treatment)
    found = payoff.against.get(condition.other) if payoff is not None else None
    if found is None or condition.extents:
        return "cannot be judged", NO_MONEY
    named: dict[str, Standing] = {"more": "supported", "less": "contradicted"}
    return named.get(found[0], "not settled"), found[1]


_ADVICE_OF: Final[dict[str, str]] = {
    "is recommended": "recommend",
    "is recommended with conditions": "recommend with conditions",
    "needs more testing": "keep testing",
    "is not recommended": "drop",
}


def _recommended(condition: Condition, facts: Facts) -> tuple[Standing, str]:
    decision = facts.decisions.get(condition.treatment)
    if decision is None or condition.extents:
        return "cannot be judged", NO_ADVICE
    agrees = decision.word == _ADVICE_OF[condition.verb]
    return ("supported" if agrees else "contradicted"), decision.words


def placed(claim: Claim, cell: str, line: int) -> Claim:
    """The same claim with the place where it is written."""
    return replace(claim, cell=cell, line=line)
