"""What corrections moved, in words: beside each other in a table, and as a caution."""

from collections.abc import Mapping
from typing import Any, Final

import pandas as pd

from trialkit.findings import verdicts_moved
from trialkit.findings.undone import NO_ANSWER
from trialkit.narrative.numbers import change, change_range
from trialkit.narrative.phrases import listed, lower_first, shown_effect
from trialkit.narrative.tables import Column, Table
from trialkit.study import Study

_CORRECTED: Final = ("effect", "effect_low", "effect_high", "bound", "verdict")
_AS_TYPED: Final = tuple(f"as_typed_{n}" for n in ("effect", "low", "high", "bound", "verdict"))


def moved_table(study: Study, moved: pd.DataFrame) -> Table:
    """Table of every contrast that corrections moved: as typed, and with the corrections."""
    rows = [
        (
            f"{study.measure(row['measure']).name}: {study.treatment(row['treatment']).label}",
            _said(study, row, _AS_TYPED),
            _said(study, row, _CORRECTED),
        )
        for row in moved.to_dict("records")
    ]
    heads = [Column(text) for text in ("Measure and treatment", "As typed", "Corrected")]
    return Table.of("What the corrections moved", heads, rows)


def moved_cautions(study: Study, moved: pd.DataFrame) -> list[str]:
    """A sentence for the verdicts of a measure that rest on corrections; none where none does."""
    told: dict[tuple[str, str, str], list[str]] = {}
    for row in verdicts_moved(moved).to_dict("records"):
        name = lower_first(study.treatment(row["treatment"]).name)
        said = (row["measure"], _verdict(row, ""), _verdict(row, "as_typed_"))
        told.setdefault(said, []).append(name)
    return [_caution(study, *said, treatments) for said, treatments in told.items()]


def _said(study: Study, row: Mapping[Any, Any], names: tuple[str, ...]) -> str:
    effect, low, high, bound, verdict = (row[name] for name in names)
    if verdict == NO_ANSWER or pd.isna(low):
        return NO_ANSWER
    about = {
        "measure": row["measure"],
        "effect_unit": row["effect_unit"],
        "effect": effect,
        "effect_low": low,
        "effect_high": high,
    }
    effect, low, high, unit = shown_effect(about, study)
    interval = change_range(low, high, unit)
    known = not bound and not pd.isna(effect)
    return f"{verdict}: {change(effect, unit)} ({interval})" if known else f"{verdict}: {interval}"


def _caution(study: Study, measure: str, now: str, before: str, treatments: list[str]) -> str:
    name = lower_first(study.measure(measure).name)
    return (
        f"The verdict on {name} with {listed(treatments)} rests on corrections of the data: it is "
        f"\u201c{now}\u201d, and as the sheets were typed it would be \u201c{before}\u201d."
    )


def _verdict(row: Mapping[Any, Any], start: str) -> str:
    """A verdict, with its direction where it has one."""
    verdict, direction = row[f"{start}verdict"], row[f"{start}direction"]
    turned = row["verdict"] == row["as_typed_verdict"]
    return f"{verdict}, for the {direction}" if turned else str(verdict)
