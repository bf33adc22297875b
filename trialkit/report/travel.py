"""Tables about whether effects travel, and what would settle the rest, for the final report."""

from collections.abc import Sequence

import pandas as pd

from trialkit.findings.effect_table import records
from trialkit.findings.recommendation import RULES, Recommendation
from trialkit.narrative.money_words import chance_words, ranged
from trialkit.narrative.numbers import brief, change, change_range, fixed
from trialkit.narrative.phrases import shown_effect
from trialkit.narrative.tables import Column, Table
from trialkit.study import FIELD_AREA, Measure, Study


def versions_table(study: Study, measure: Measure, table: pd.DataFrame, caption: str) -> Table:
    """The same contrasts under several conditions: a row a condition, a column a treatment."""
    names = study.treatment_ids[1:]
    heads = [Column(caption), *(Column(study.treatment(t).label) for t in names)]
    rows = []
    for label, group in table.groupby("label", sort=False):
        cells = {str(row["treatment"]): _cell(study, row) for row in records(group)}
        rows.append((str(label), *(cells.get(name, "–") for name in names)))
    return Table.of(f"{measure.name}: {caption.lower()}", heads, rows)


def _cell(study: Study, row: dict) -> str:
    effect, low, high, unit = shown_effect(row, study)
    if row["bound"]:
        return f"a bound only; {row['verdict']}"
    return f"{change(effect, unit)} ({change_range(low, high, unit)}); {row['verdict']}"


def prediction_table(study: Study, measure: Measure, table: pd.DataFrame) -> Table:
    """Where the effect of one more site-season is expected."""
    level = f"{100 * study.level:g}\u00a0%"
    heads = [Column("Treatment"), Column(f"One more site-season like these ({level} prediction)")]
    rows = [
        (study.treatment(treatment).name, _range(measure, row))
        for treatment in study.treatment_ids
        for row in records(table[table["treatment"] == treatment])
    ]
    return Table.of(f"{measure.name}: what to expect at the next place", heads, rows)


def _range(measure: Measure, row: dict) -> str:
    if pd.isna(row["prediction_low"]):
        return "not known"
    unit = "points" if measure.family == "proportion" else "percent"
    return change_range(row["prediction_low"], row["prediction_high"], unit)


def rank_table(study: Study, measure: Measure, table: pd.DataFrame) -> Table:
    """Ranks of the treatments over site-seasons."""
    heads = [
        Column("Treatment"),
        Column("Mean rank", numeric=True),
        Column("Best and worst rank"),
        Column("Times first", numeric=True),
    ]
    rows = [
        (
            study.treatment(row["treatment"]).name,
            fixed(row["mean_rank"], 1),
            f"{row['best_rank']:g} to {row['worst_rank']:g}",
            f"{row['times_first']} of {row['places']}",
        )
        for row in records(table)
    ]
    return Table.of(f"{measure.name}: ranks over site-seasons, 1 is best", heads, rows)


def trend_table(
    study: Study, measure: Measure, table: pd.DataFrame, names: dict[str, str]
) -> Table:
    """Effects against conditions, with the permutation test."""
    heads = [
        Column("Treatment"),
        Column("Condition of the site-season"),
        Column("Places", numeric=True),
        Column("Correlation", numeric=True),
        Column("p, permutation test", numeric=True),
        Column("Least p possible", numeric=True),
    ]
    rows = [
        (
            study.treatment(row["treatment"]).name,
            names.get(row["condition"], row["condition"]),
            row["n"],
            fixed(row["correlation"], 2),
            brief(row["p"], 2),
            brief(row["smallest_p"], 2),
        )
        for row in records(table)
    ]
    return Table.of(f"{measure.name}: effect against conditions, exploratory", heads, rows)


def recommendation_table(study: Study, found: Sequence[Recommendation]) -> Table:
    """One row per treatment: effects, money, risk, consistency, decision and condition."""
    measures = [measure for measure in study.measures if measure.primary]
    heads = [
        Column("Treatment"),
        *(Column(measure.name) for measure in measures),
        Column(f"Gain, {study.currency} per {FIELD_AREA[study.units]}"),
        Column("Does it pay"),
        Column("Chance of beating the check on a farm not yet tried"),
        Column("Consistency"),
        Column("Recommendation"),
        Column("Condition"),
    ]
    rows = [_row(study, measures, one) for one in found]
    return Table.of("Recommendation by treatment", heads, rows)


def _row(study: Study, measures: Sequence[Measure], one: Recommendation) -> tuple[str, ...]:
    budget = one.budget
    gain = (
        "–" if budget is None else ranged(budget["gain"], budget["gain_low"], budget["gain_high"])
    )
    unsteady = " and ".join(study.measure(name).name.lower() for name in one.unsteady)
    return (
        study.treatment(one.treatment).name,
        *(
            _cell(study, dict(one.effects[m.id])) if m.id in one.effects else "not analysed"
            for m in measures
        ),
        gain,
        one.money,
        chance_words(one.chance_elsewhere),
        f"verdict not firm: {unsteady}" if unsteady else "verdicts firm",
        one.decision,
        "; ".join(one.conditions) or "–",
    )


def rules() -> list[str]:
    """The rules that the recommendations follow, in words."""
    return [f"**{decision}**: {meaning}." for decision, meaning in RULES.items()]
