"""Phrases that every text shares: effects in the unit that people read, names, cautions."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from trialkit.study import Measure, Study
from trialkit.study.units import to_display, unit_label

Row = Mapping[str, Any]

CAUTIONS: Final = {
    "spray": "The product label is the law: follow its rates, its re-entry interval and its "
    "pre-harvest interval, and wear the protection that it names.",
    "dust": "Mixing and spraying fine powders raises dust: wear the respirator, gloves and eye "
    "protection that the label names, and keep others out of the drift.",
    "cover": "It can get dangerously hot under covers and netting, for plants and for people: "
    "check on hot days, vent or lift them, and drink water.",
    "ladder": "Use a sound ladder on firm ground, and never work on one alone.",
    "food": "Spoiled, rotten or flooded fruit is not for sale and not for eating.",
}
# Kinds of measure that come from picked fruit, which somebody may want to eat or sell.
PICKED: Final = frozenset(
    {
        "marketable_yield",
        "marketable_per_plant",
        "early_yield",
        "fruit_number",
        "mean_fruit_weight",
        "target_size_share",
        "cull_percent",
    }
)
DEFERRAL: Final = (
    "Product labels, local codes, your local extension office and licensed advisers decide what "
    "may be done on your farm. This report is about one trial and is not advice for a given field."
)


def display_unit_of(measure: Measure, study: Study) -> str:
    """Unit in which people of this study read the measure."""
    return unit_label(measure.quantity, study.units)


def shown_effect(row: Row, study: Study) -> tuple[float, float, float, str]:
    """Effect, low, high and unit of a row of EFFECTS, in the unit that people read."""
    unit = row["effect_unit"]
    numbers = (row["effect"], row["effect_low"], row["effect_high"])
    if unit in ("percent", "points"):
        return (*numbers, unit)
    measure = study.measure(row["measure"])
    effect, low, high = (to_display(number, measure.quantity, study.units) for number in numbers)
    return effect, low, high, display_unit_of(measure, study)


def lower_first(name: str) -> str:
    """Small first letter inside a sentence, unless the word is all capitals or has inner ones."""
    first = name.split(" ", 1)[0]
    return name if not first[1:].islower() else name[:1].lower() + name[1:]


def listed(names: Sequence[str]) -> str:
    """Names in a sentence.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def capital(text: str) -> str:
    """Text with a capital first letter."""
    return text[:1].upper() + text[1:]


def cautions(study: Study) -> list[str]:
    """Cautions that the study's treatments and produce call for, the deferral last."""
    named = {kind for treatment in study.treatments for kind in treatment.cautions}
    if any(measure.kind in PICKED for measure in study.measures):
        named.add("food")
    chosen = [text for kind, text in CAUTIONS.items() if kind in named]
    return [*chosen, DEFERRAL]
