"""Plain sentences about findings: what was found, how sure, and what is not settled.

A sentence never says more than the verdict of its interval allows, and never "significant".
"""

from collections.abc import Iterable, Mapping
from typing import Any, Final

import pandas as pd

from trialkit.narrative.numbers import change, change_number, change_range, with_unit
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


def shown_margin(row: Row, study: Study) -> str:
    """The smallest worthwhile difference of a row in words, such as ``30 %``."""
    unit = row["effect_unit"]
    if unit in ("percent", "points"):
        return change_number(row["margin"], unit)
    measure = study.measure(row["measure"])
    margin = to_display(row["margin"], measure.quantity, study.units)
    return change_number(margin, display_unit_of(measure, study))


def effect_sentence(row: Row, study: Study) -> str:
    """One contrast in one or two plain sentences, by its verdict."""
    if row["bound"]:
        return _bound_sentence(row, study)
    effect, low, high, unit = shown_effect(row, study)
    names = _names(row, study)
    interval = f"{_level(study)} interval {change_range(low, high, unit)}"
    margin = shown_margin(row, study)
    found = (
        f"{names['measure']} came out {change(effect, unit)} with {names['treatment']} than in "
        f"the {names['check']} ({interval})"
    )
    if row["verdict"] == "worthwhile":
        return f"{found}. {_worthwhile(row, margin)}"
    if row["verdict"] == "some effect":
        wrong = " It went the wrong way." if row["direction"] == "worse" else ""
        return (
            f"{found}. There is an effect, but it may be smaller than the {margin} that would "
            f"matter.{wrong}"
        )
    if row["verdict"] == "no worthwhile difference":
        return (
            f"{names['treatment']} made no worthwhile difference to "
            f"{lower_first(names['measure'])}: the {interval} lies inside {margin} either way."
        )
    return (
        f"Whether {names['treatment']} changes {lower_first(names['measure'])} is not settled: "
        f"the data fit anything from {change_range(low, high, unit)}."
    )


def _worthwhile(row: Row, margin: str) -> str:
    if row["direction"] == "worse":
        return f"Even the mildest end of the interval is worse by more than the {margin} margin."
    return f"Even the weakest end of the interval is better than the {margin} that would matter."


def _bound_sentence(row: Row, study: Study) -> str:
    _, low, high, unit = shown_effect(row, study)
    names = _names(row, study)
    end = change(high if row["bound"] == "upper" else low, unit)
    head = f"{names['measure']}: nothing was found in any plot with {names['treatment']}"
    if row["bound"] == "lower":
        head = f"{names['measure']}: nothing was found in any plot of the {names['check']}"
    if row["verdict"] == "not settled":
        return (
            f"{head}, yet this is too little to settle a difference from the {names['check']} "
            f"(the data allow it to be as far as {end})."
        )
    return f"{head}, so only one end is known: {end} or more ({_level(study)} bound)."


def _names(row: Row, study: Study) -> dict[str, str]:
    measure = study.measure(row["measure"])
    return {
        "treatment": lower_first(study.treatment(row["treatment"]).name),
        "check": lower_first(study.check.name),
        "measure": measure.name,
    }


def lower_first(name: str) -> str:
    """Small first letter inside a sentence, unless the word is all capitals or has inner ones."""
    first = name.split(" ", 1)[0]
    return name if not first[1:].islower() else name[:1].lower() + name[1:]


def _level(study: Study) -> str:
    return with_unit(f"{100 * study.level:g}", "%")


def findings_list(effects: pd.DataFrame, study: Study, measures: Iterable[Measure]) -> list[str]:
    """Sentences of the given measures, treatment by treatment, in study order."""
    rows = effects.to_dict("records")
    return [
        capital(effect_sentence(row, study))
        for measure in measures
        for row in rows
        if row["measure"] == measure.id
    ]


def grower_sentences(effects: pd.DataFrame, study: Study, measures: Iterable[Measure]) -> list[str]:
    """One sentence per treatment: what its verdicts on the given measures mean together."""
    chosen = list(measures)
    told = []
    for treatment in study.treatment_ids[1:]:
        rows = effects[effects["treatment"] == treatment].set_index("measure")
        parts = [
            _in_short(rows.loc[one.id].to_dict(), one) for one in chosen if one.id in rows.index
        ]
        if parts:
            told.append(f"**{study.treatment(treatment).name}**: {'; '.join(parts)}.")
    return told


def _in_short(row: Row, measure: Measure) -> str:
    name = lower_first(measure.name)
    if row["verdict"] == "not settled":
        return f"{name} not settled, more trials are needed"
    if row["verdict"] == "no worthwhile difference":
        return f"no worthwhile difference in {name}"
    size = "a worthwhile" if row["verdict"] == "worthwhile" else "some"
    sense = "improvement" if row["direction"] == "better" else "setback"
    return f"{size} {sense} in {name}"


def capital(text: str) -> str:
    """Text with a capital first letter."""
    return text[:1].upper() + text[1:]


def cautions(study: Study) -> list[str]:
    """Cautions that the study's treatments and produce call for, the deferral last."""
    named = {kind for treatment in study.treatments for kind in treatment.cautions}
    chosen = [text for kind, text in CAUTIONS.items() if kind in named or kind == "food"]
    return [*chosen, DEFERRAL]
