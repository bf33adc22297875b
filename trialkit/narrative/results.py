"""The results table: means with intervals, effects with verdicts, units in sight."""

from typing import Any, Final

import pandas as pd

from trialkit.findings.effect_table import records
from trialkit.narrative.numbers import change, change_range, decimals_for, fixed
from trialkit.narrative.phrases import display_unit_of, shown_effect
from trialkit.narrative.tables import Column, Table, Words, on_the_point
from trialkit.study import Measure, Study
from trialkit.study.units import to_display

HEADINGS: Final = (
    Column("Treatment"),
    Column("Mean", numeric=True),
    Column("Low", numeric=True),
    Column("High", numeric=True),
    Column("Letters"),
    Column("Against the check"),
    Column("Interval"),
    Column("Verdict"),
    Column("Plots", numeric=True),
)


def results_table(
    study: Study, measure: Measure, means: pd.DataFrame, effects: pd.DataFrame
) -> Table:
    """Table of one measure: a row per treatment, the check first; interval level in the caption."""
    own_means = means[means["measure"] == measure.id]
    own_effects = effects[effects["measure"] == measure.id]
    effect_of = {row["treatment"]: row for row in records(own_effects)}
    shown = _in_display_units(study, measure, own_means)
    finite = shown[["mean", "low", "high"]].to_numpy(dtype=float)
    decimals = decimals_for(_largest(finite))
    rows = []
    for row in records(shown):
        effect = effect_of.get(row["treatment"])
        rows.append(_row(study, row, effect, decimals))
    return Table.of(_caption(study, measure), HEADINGS, _aligned(rows), wide=True)


def _aligned(rows: list[tuple[str, ...]]) -> list[tuple[str, ...]]:
    column = [heading.heading for heading in HEADINGS].index("Against the check")
    padded = on_the_point([row[column] for row in rows])
    return [
        (*row[:column], text, *row[column + 1 :]) for row, text in zip(rows, padded, strict=True)
    ]


def reading_note(study: Study) -> Words:
    """How to read the results tables, said once above them."""
    return Words(
        f"Low and high are the ends of the {100 * study.level:g} % interval of a mean. Each "
        "treatment is held against the untreated check, with the interval of that difference. "
        "Treatments that share a letter are not told apart."
    )


def _caption(study: Study, measure: Measure) -> str:
    unit = display_unit_of(measure, study)
    return f"{measure.name} ({unit}), with {100 * study.level:g} % intervals"


def _row(
    study: Study, mean: dict[str, Any], effect: dict[str, Any] | None, decimals: int
) -> tuple[str, ...]:
    name = study.treatment(mean["treatment"]).name
    numbers = tuple(fixed(mean[key], decimals) for key in ("mean", "low", "high"))
    head = (name, *numbers, str(mean["letters"] or ""))
    plots = f"{mean['n']:.0f}"
    if effect is None:
        return (*head, "is the check", "", "", plots)
    value, low, high, unit = shown_effect(effect, study)
    return (
        *head,
        _effect_words(value, effect, unit),
        change_range(low, high, unit),
        effect["verdict"],
        plots,
    )


def _effect_words(value: float, effect: dict[str, Any], unit: str) -> str:
    if effect["bound"]:
        return "a bound only"
    return "not known" if pd.isna(value) else change(value, unit)


def _in_display_units(study: Study, measure: Measure, means: pd.DataFrame) -> pd.DataFrame:
    numbers = ("mean", "low", "high")
    shown = {name: to_display(means[name], measure.quantity, study.units) for name in numbers}
    return means.assign(**shown)


def _largest(numbers: Any) -> float:
    finite = [abs(number) for number in numbers.ravel() if number == number and abs(number) < 1e300]
    return max(finite, default=0.0)
