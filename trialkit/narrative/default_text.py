"""The default narrative: plain sentences chosen by the evidence, each bound to the findings.

Every sentence that says something about a treatment is a claim, and every number in it is looked
up, so that an edit of the wording keeps both checks.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from trialkit.narrative.facts import EffectFact, Facts
from trialkit.narrative.phrases import capital, lower_first

MAY_CHANGE: Final = "**Preliminary.** The season is not finished; these answers may still change."
NOTHING: Final = "Nothing could be analysed yet; the report says below why."


def default_sentences(facts: Facts, season_words: str = "") -> dict[str, str]:
    """Default texts by name: what was found, what it means for a grower.

    ``season_words`` says what is missing of a season that is not finished, empty otherwise.
    """
    may_change = [MAY_CHANGE] if season_words else []
    return {
        "findings": bullets([*_opening(facts, season_words), *findings_sentences(facts)]),
        "grower": bullets([*may_change, *grower_sentences(facts)]),
    }


def findings_sentences(facts: Facts) -> list[str]:
    """A sentence or two for each treatment and primary measure, in study order."""
    chosen = _primary_effects(facts)
    return [capital(effect_text(effect, facts)) for effect in chosen] or [NOTHING]


def grower_sentences(facts: Facts) -> list[str]:
    """One sentence per treatment: what its verdicts on the primary measures mean together."""
    told = []
    for treatment, name in facts.treatments.items():
        own = [effect for effect in _primary_effects(facts) if effect.treatment == treatment]
        parts = [*(_in_short(effect, facts) for effect in own), *_in_money(treatment, facts)]
        if own:
            told.append(f"**{name}**: {'; '.join(parts)}.")
    return told or [NOTHING]


def effect_text(effect: EffectFact, facts: Facts) -> str:
    """One contrast in plain words, by its verdict; direction, size and interval are looked up."""
    if effect.bound:
        return _bound(effect, facts)
    if effect.verdict == "no worthwhile difference":
        return _no_difference(effect, facts)
    if effect.verdict == "not settled":
        return _not_settled(effect, facts)
    return _clear_effect(effect, facts)


def _clear_effect(effect: EffectFact, facts: Facts) -> str:
    measure, treatment, check = _named(effect, facts)
    way = "lower" if effect.high < 0 else "higher"
    found = _claim(
        f"{measure} came out {way} with {treatment} than in the {check}",
        effect,
        "lowers" if effect.high < 0 else "raises",
    )
    return " ".join(
        [
            f"{found}, by {_quote(effect, 'change|size')} ({_level(facts)} interval: "
            f"{_quote(effect, 'interval')}).",
            _how_much(effect),
            *_for_the_worse(effect),
            *_place_by_place(effect, facts),
        ]
    )


def _how_much(effect: EffectFact) -> str:
    if effect.verdict == "worthwhile":
        verb = "improves" if effect.direction == "better" else "worsens"
        text = "Even the weaker end of that interval is more than the difference that matters"
        beyond = _claim(text, effect, verb, " by a worthwhile amount")
        return f"{beyond} ({_quote(effect, 'margin')})."
    return (
        f"There is an effect, but it may be smaller than the {_quote(effect, 'margin')} that "
        "would matter."
    )


def _for_the_worse(effect: EffectFact) -> list[str]:
    if effect.direction != "worse":
        return []
    return [f"{_claim('For a grower this is a change for the worse', effect, 'worsens')}."]


def _place_by_place(effect: EffectFact, facts: Facts) -> list[str]:
    """Across: whether each finished site-season shows it on its own."""
    name = f"{effect.treatment}.{effect.measure}.shown_in"
    if not facts.across or name not in facts.values:
        return []
    return [f"Looked at one by one, {{eval}}`{name}` show it."]


def _no_difference(effect: EffectFact, facts: Facts) -> str:
    measure, treatment, _ = _named(effect, facts)
    text = f"{treatment} made no worthwhile difference to {lower_first(measure)}"
    return (
        f"{_claim(capital(text), effect, 'does not change')}: the {_level(facts)} "
        f"interval, {_quote(effect, 'interval')}, stays within {_quote(effect, 'margin')} either "
        "way."
    )


def _not_settled(effect: EffectFact, facts: Facts) -> str:
    measure, treatment, _ = _named(effect, facts)
    text = f"Whether {treatment} changes {lower_first(measure)} is not settled"
    return (
        f"{_claim(text, effect, 'is not settled for')}: the data fit anything from "
        f"{_quote(effect, 'interval')}."
    )


def _bound(effect: EffectFact, facts: Facts) -> str:
    measure, treatment, check = _named(effect, facts)
    where = treatment if effect.bound == "upper" else check
    head = f"{measure}: nothing was found in any plot with {where}"
    if effect.bound == "lower":
        head = f"{measure}: nothing was found in any plot of the {where}"
    if effect.verdict == "not settled":
        claim = _claim("that is too little to settle a difference", effect, "is not settled for")
        return f"{head}, yet {claim} from the {check}."
    if effect.verdict == "no worthwhile difference":
        claim = _claim("there is no worthwhile difference", effect, "does not change")
        return f"{head}, and {claim} from the {check}."
    verb = "lowers" if effect.high < 0 else "raises"
    way = "lower" if effect.high < 0 else "higher"
    claim = _claim(f"It is {way} with {treatment} than in the {check}", effect, verb)
    return (
        f"{head}. {claim}, and only one end is known: {_quote(effect, 'change')} "
        f"({_level(facts)} bound)."
    )


def _in_short(effect: EffectFact, facts: Facts) -> str:
    name = lower_first(facts.measures[effect.measure].name)
    if effect.verdict == "not settled":
        text = f"an answer on {name} is not settled yet, more trials are needed"
        return _claim(text, effect, "is not settled for")
    if effect.verdict == "no worthwhile difference":
        return _claim(f"no worthwhile difference in {name}", effect, "does not change")
    better = effect.direction == "better"
    sense, verb = ("improvement", "improves") if better else ("setback", "worsens")
    if effect.verdict == "worthwhile":
        return _claim(f"a worthwhile {sense} in {name}", effect, verb, " by a worthwhile amount")
    return _claim(f"some {sense} in {name}, perhaps too small to matter", effect, verb)


def _in_money(treatment: str, facts: Facts) -> list[str]:
    """Whether it pays, where that was worked out."""
    payoff = facts.payoffs.get(treatment)
    said = {
        "pays": ("it pays at the prices stated", "pays"),
        "does not pay": ("it does not pay at the prices stated", "does not pay"),
        "not settled": ("whether it pays is not settled", "may pay"),
    }
    if payoff is None or payoff.verdict not in said:
        return []
    text, verb = said[payoff.verdict]
    return [f"{{claim}}`{text} <{treatment} {verb}>`"]


def _opening(facts: Facts, season_words: str) -> list[str]:
    """What a reader must know first: a season still running, plots that were lost."""
    told = [f"**Preliminary.** {season_words}"] if season_words else []
    lost = facts.values.get("plots.lost")
    if lost is not None and lost.number:
        told.append(
            "{eval}`plots.lost` of {eval}`plots.laid_out` plots were lost and take no part in "
            "these findings."
        )
    return told


def _primary_effects(facts: Facts) -> list[EffectFact]:
    """Effects on primary measures, measure by measure in study order."""
    return [
        effect
        for name, measure in facts.measures.items()
        for effect in facts.effects
        if measure.primary and effect.measure == name
    ]


def _named(effect: EffectFact, facts: Facts) -> tuple[str, str, str]:
    names: Mapping[str, str] = facts.treatments
    measure = facts.measures[effect.measure].name
    return measure, lower_first(names[effect.treatment]), lower_first(names[facts.check])


def _claim(text: str, effect: EffectFact, verb: str, amount: str = "") -> str:
    return f"{{claim}}`{text} <{effect.treatment} {verb} {effect.measure}{amount}>`"


def _quote(effect: EffectFact, what: str) -> str:
    return f"{{eval}}`{effect.treatment}.{effect.measure}.{what}`"


def _level(facts: Facts) -> str:
    return "{eval}`study.level`" if "study.level" in facts.values else f"{100 * facts.level:g} %"


def bullets(sentences: Iterable[str]) -> str:
    """Sentences as a Markdown list."""
    return "\n".join(f"- {sentence}" for sentence in sentences)
