"""Tables about whether effects travel, and what would settle the rest, for the final report."""

import math
from collections.abc import Sequence

import pandas as pd

from trialkit.findings.consistency import LEAST_IN_TURN, MOST_IN_TURN
from trialkit.findings.effect_table import records
from trialkit.findings.recommendation import RULES, Recommendation
from trialkit.findings.still_needed import MOST
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
        for treatment in study.treatment_ids
        for row in records(table[table["treatment"] == treatment])
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


def without_words(
    study: Study, measure: Measure, reported: pd.DataFrame, table: pd.DataFrame, what: str
) -> str:
    """Say which verdicts change when one of ``what``, such as a site-season, is left out.

    ``reported`` are EFFECTS over all of them, ``table`` those without each (with ``label``).
    """
    if table.empty:
        return (
            f"{measure.name}: nothing was left out in turn. That takes at least {LEAST_IN_TURN} "
            f"site-seasons, and at most {MOST_IN_TURN} of them, of sites or of seasons."
        )
    said = []
    for row in records(reported[reported["measure"] == measure.id]):
        own = table[(table["treatment"] == row["treatment"]) & (table["verdict"] != row["verdict"])]
        found = [f"{one['verdict']} {one['label']}" for one in records(own)]
        if found:
            name = study.treatment(row["treatment"]).label
            said.append(f"{name} ({row['verdict']} as reported, {', '.join(found)})")
    if not said:
        return f"{measure.name}: no verdict changes when any one {what} is left out."
    return f"{measure.name}: leaving out one {what} at a time changes verdicts: {'; '.join(said)}."


def untested_words(table: pd.DataFrame, names: dict[str, str]) -> str:
    """Say which conditions could not be set against the effects, empty where all could."""
    missing = [name for key, name in names.items() if key not in set(table["condition"])]
    if not missing:
        return ""
    listed = " and ".join(name.lower() for name in missing)
    return f"Not tested, for want of records or because they did not differ: {listed}."


def needed_table(study: Study, needed: pd.DataFrame) -> Table:
    """What would settle each open contrast: ways, site-seasons, seasons, chance, cost."""
    sites = len(study.sites)
    heads = [
        Column("Measure and treatment"),
        Column("Blocks at a site", numeric=True),
        Column("More site-seasons", numeric=True),
        Column(f"Seasons at {sites} sites", numeric=True),
        Column(f"Seasons at {2 * sites} sites", numeric=True),
        Column("Chance to settle it", numeric=True),
        Column(f"Cost, {study.currency}", numeric=True),
    ]
    rows = [_needed_row(study, row) for row in records(needed)]
    return Table.of("What would settle what is not settled", heads, rows)


def _needed_row(study: Study, row: dict) -> tuple[str, ...]:
    name = study.treatment(row["treatment"]).label
    head = (f"{study.measure(row['measure']).name}, {name}", f"{row['blocks']} ({row['how']})")
    if pd.isna(row["more"]):
        known = not pd.isna(row["chance"])
        more = f"more than {MOST}" if known else "not known"
        return (*head, more, "–", "–", chance_words(row["chance"]) if known else "–", "–")
    seasons = [math.ceil(row["more"] / n) for n in (len(study.sites), 2 * len(study.sites))]
    cost = "not known" if pd.isna(row["cost"]) else fixed(row["cost"], 0)
    return (*head, str(row["more"]), *map(str, seasons), chance_words(row["chance"]), cost)


def recommendation_table(study: Study, found: Sequence[Recommendation]) -> Table:
    """One row per treatment: decision, condition, effects, money, risk, consistency."""
    measures = [measure for measure in study.measures if measure.primary]
    heads = [
        Column("Treatment"),
        Column("Recommendation"),
        *(Column(measure.name) for measure in measures),
        Column(f"Gain over the check, {study.currency} per {FIELD_AREA[study.units]}"),
        Column("Chance of a gain on a new farm"),
        Column("Consistency"),
    ]
    rows = [_row(study, measures, one) for one in found]
    return Table.of("Recommendation by treatment", heads, rows)


def _row(study: Study, measures: Sequence[Measure], one: Recommendation) -> tuple[str, ...]:
    unsteady = " and ".join(study.measure(name).name.lower() for name in one.unsteady)
    return (
        study.treatment(one.treatment).name,
        ": ".join([one.decision, *(["; ".join(one.conditions)] if one.conditions else [])]),
        *(
            _cell(study, dict(one.effects[m.id])) if m.id in one.effects else "not analysed"
            for m in measures
        ),
        _money(study, one),
        chance_words(one.chance_elsewhere),
        f"not firm: {unsteady}" if unsteady else "verdicts firm",
    )


def _money(study: Study, one: Recommendation) -> str:
    """Gain with its interval, whether it pays, and what does better at no more cost."""
    if one.budget is None:
        return one.money
    gain = ranged(one.budget["gain"], one.budget["gain_low"], one.budget["gain_high"])
    word = {"not settled": "whether it pays is not settled"}.get(one.money, one.money)
    if not one.beaten_by:
        return f"{gain}; {word}"
    other = study.treatment(one.beaten_by).label
    chance = chance_words(one.beaten_chance)
    return f"{gain}; {word}; {other} costs no more, chance that it returns more {chance}"


def rules() -> list[str]:
    """The rules that the recommendations follow, in words."""
    return [f"**{decision}**: {meaning}." for decision, meaning in RULES.items()]
