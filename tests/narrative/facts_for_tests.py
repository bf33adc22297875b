"""Small facts made by hand, so that text is tested without statistics."""

from dataclasses import replace

from trialkit.narrative.default_text import default_sentences
from trialkit.narrative.facts import EffectFact, Facts, MeasureFact
from trialkit.narrative.values import amount, change_value, count, setting, words

BETTER = EffectFact(
    2025, "alder_bench", "beetles", "netting", -62.0, -72.0, -48.0, "percent", 30.0,
    "worthwhile", "better",
)  # fmt: skip
WORSE = replace(BETTER, effect=62.0, low=48.0, high=72.0, direction="worse")
UNSETTLED = replace(
    BETTER, treatment="clover", effect=-5.0, low=-60.0, high=50.0, verdict="not settled",
    direction="none",
)  # fmt: skip


def facts_of(*effects: EffectFact, season_words: str = "", **changed) -> Facts:
    """Facts with these effects, their values and default sentences."""
    values = {"site.name": words("Alder Bench"), "study.level": setting(95.0, "%")}
    for one in effects:
        stem = f"{one.treatment}.{one.measure}"
        values |= {
            f"{stem}.change": change_value(one.effect, one.unit),
            f"{stem}.interval": words(f"{one.low:g} to {one.high:g}"),
            f"{stem}.margin": setting(one.margin, "%"),
            f"{stem}.mean": amount(12.34, "insect-days per plant"),
            f"{stem}.plots": count(4),
        }
    facts = Facts(
        across=False,
        level=0.95,
        check="check",
        treatments={"check": "Untreated check", "netting": "Fine-mesh netting",
                    "clover": "White clover"},
        measures={"beetles": MeasureFact("Flea beetle days", "insect-days per plant", True, True)},
        effects=effects,
        values=values,
    )  # fmt: skip
    facts = replace(facts, **changed)
    return replace(facts, sentences=default_sentences(facts, season_words))
