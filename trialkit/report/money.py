"""Tables and sentences about money, as the final report shows them."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from trialkit.findings.economics import Money
from trialkit.findings.effect_table import records
from trialkit.findings.gains_by_place import PlaceGains
from trialkit.narrative.money_words import chance_words, ranged
from trialkit.narrative.numbers import fixed
from trialkit.narrative.tables import Column, Table, Words
from trialkit.report.display import bullets
from trialkit.study import FIELD_AREA, WEIGHT_UNIT, Study

ADVICE: Final = (
    "Economic figures are estimates from this trial at the prices and costs stated, not advice; "
    "prices and costs are taken as known, and only the doubt about yields is carried through."
)
METHOD: Final = (
    "Partial budgets after CIMMYT (1988, From agronomic data to farmer recommendations, chapters 2 "
    "to 4): field yield is plot yield less the adjustment to a farmer's field; net return is field "
    "yield times the price less picking and packing, less the costs that differ between treatments."
)


def budget_table(study: Study, money: Money, caption: str) -> Table:
    """Partial budgets, cheapest treatment first."""
    area, weight = FIELD_AREA[study.units], WEIGHT_UNIT[study.units]
    per = f"{study.currency} per {area}"
    heads = [
        Column("Treatment"),
        Column(f"Field yield, {weight} per {area}", numeric=True),
        Column(f"Income, {per}", numeric=True),
        Column(f"Picking and packing, {per}", numeric=True),
        Column(f"Costs that differ, {per}", numeric=True),
        Column(f"Net return, {per} ({_level(study)})", numeric=True),
        Column("Labour, hours", numeric=True),
        Column("Marginal rate of return"),
    ]
    rows = [
        (
            study.treatment(row["treatment"]).name,
            fixed(row["field_yield"], 0),
            fixed(row["income"], 0),
            fixed(row["handling"], 0),
            fixed(row["cost"], 0),
            ranged(row["net_return"], row["net_low"], row["net_high"]),
            fixed(row["hours"], 0),
            _marginal(study, row),
        )
        for row in records(money.budget)
    ]
    return Table.of(caption, heads, rows)


def gain_table(study: Study, money: Money) -> Table:
    """Gain of each treatment over the check, how sure that is, and what it takes to break even."""
    area, weight = FIELD_AREA[study.units], WEIGHT_UNIT[study.units]
    heads = [
        Column("Treatment"),
        Column(f"Gain over the check, {study.currency} per {area} ({_level(study)})", numeric=True),
        Column("Chance of beating the check, farms as tried", numeric=True),
        Column("On a farm not yet tried", numeric=True),
        Column(f"Break-even price, {study.currency} per {weight}", numeric=True),
        Column(f"Break-even plot yield, {weight} per {area}", numeric=True),
        Column(f"Return per extra hour of labour, {study.currency}", numeric=True),
        Column("Does it pay"),
    ]
    rows = [
        (
            study.treatment(row["treatment"]).name,
            ranged(row["gain"], row["gain_low"], row["gain_high"]),
            chance_words(row["chance"]),
            chance_words(row["new_chance"]),
            fixed(row["break_even_price"], 2),
            fixed(row["break_even_yield"], 0),
            fixed(row["return_per_hour"], 2),
            row["word"],
        )
        for row in _in_order(study, money.budget)
    ]
    return Table.of("Gain over the untreated check", heads, rows)


def place_table(study: Study, places: Mapping[tuple[int, str], PlaceGains]) -> Table:
    """Gain of each treatment in each site-season, with the chance of beating the check there."""
    names = study.treatment_ids[1:]
    heads = [Column("Site and season"), *(Column(study.treatment(t).label) for t in names)]
    rows = []
    for (season, site), gains in places.items():
        if not gains.by_treatment:
            continue
        cells = [_cell(gains.by_treatment.get(treatment)) for treatment in names]
        rows.append((f"{study.site(site).name} {season}", *cells))
    per = f"{study.currency} per {FIELD_AREA[study.units]}"
    return Table.of(f"Gain over the check ({per}) and its chance, place by place", heads, rows)


def _cell(known: tuple[float, float] | None) -> str:
    if known is None:
        return "not known"
    gain, chance = known
    return f"{fixed(gain, 0)} ({chance_words(chance)})"


def missing_words(monies: Sequence[Money | PlaceGains]) -> Words:
    """What could not be worked out, and what to mend."""
    said = dict.fromkeys(sentence for money in monies for sentence in money.missing)
    # A page goes out to others: files go by name, without the folders of this machine.
    named = [
        replace(fault, file=Path(fault.file).name) for money in monies for fault in money.faults
    ]
    faults = dict.fromkeys(map(str, named))
    if not said and not faults:
        return Words(f"{ADVICE}\n\n{METHOD}")
    return Words(f"{bullets([*said, *faults])}\n\n{ADVICE}\n\n{METHOD}")


def _marginal(study: Study, row: Mapping[str, Any]) -> str:
    if row["dominated_by"]:
        return f"dominated by {study.treatment(row['dominated_by']).label}"
    if not row["instead_of"]:
        return "cheapest"
    instead = study.treatment(row["instead_of"]).label
    if pd.isna(row["marginal_return"]) or row["marginal_return"] == float("inf"):
        return f"no extra cost over {instead}"
    return f"{row['marginal_return']:.0f}\u00a0% on {instead}"


def _in_order(study: Study, budget: pd.DataFrame) -> list[dict[str, Any]]:
    place = {treatment: number for number, treatment in enumerate(study.treatment_ids)}
    rows = [row for row in records(budget) if row["treatment"] != study.check.id]
    return sorted(rows, key=lambda row: place[row["treatment"]])


def _level(study: Study) -> str:
    return f"{100 * study.level:g}\u00a0% interval"
