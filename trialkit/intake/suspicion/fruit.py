"""Harvests that are odd: weights that do not fit the fruit, a picking long after all others."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, Tables

# Factors between units and of a decimal point: lb in a kg, oz in a lb, g in an oz, kg in a g.
_SLIPS: Final = {
    2.2046: ("lb", "kg"),
    10.0: ("", ""),
    16.0: ("oz", "lb"),
    28.35: ("g", "oz"),
}
_FAR: Final = 6.0
_LEAST_FACTOR: Final = 1.9


def weights_off(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """Weight per fruit far from that of the same grade, in one row or in a whole picking."""
    rows = tables["harvest"]
    fruit, weight = rows.values("fruit"), rows.values("weight")
    picked = (fruit > 0) & (weight > 0)
    if picked.sum() < 12:
        return
    off = np.full(len(rows), np.nan)
    off[picked] = np.log(weight[picked] / fruit[picked])
    off[picked] -= _middle_of_kind(rows, off, picked)[picked]
    days, dates = rows.days()
    slipped = []
    for day in range(len(dates)):
        here = picked & (days == day)
        middle = float(np.median(off[here])) if here.any() else 0.0
        if abs(middle) > np.log(_LEAST_FACTOR) and here.sum() >= 4:
            slipped.append(day)
            yield "harvest", _picking_off(rows.first(here), middle, int(here.sum()))
    spread = max(1.4826 * float(np.median(np.abs(off[picked]))), 0.08)
    limit = np.maximum(
        _FAR * spread / np.sqrt(np.where(picked, np.minimum(fruit, 4), 1)), np.log(_LEAST_FACTOR)
    )
    odd = (np.abs(off) > limit) & ~np.isin(days, slipped)
    if odd.any():
        words = [f"the weight per fruit is {_times(value)}" for value in off[odd]]
        remedy = "Look at the field sheet for the unit, the decimal point and the number of fruit"
        yield "harvest", Problem("weight_off", words, remedy, rows.at(odd), "weight", "question")


def _middle_of_kind(rows: Rows, each: np.ndarray, picked: np.ndarray) -> np.ndarray:
    """For each row, the median of the rows picked that have the same grade and cause."""
    (grade, _), (cause, causes) = rows.words("grade"), rows.words("cull_cause")
    kind = np.where(picked, grade * (len(causes) + 1) + cause + 1, -1)
    middle = np.full(len(rows), np.nan)
    for one in np.unique(kind[picked]):
        middle[kind == one] = np.median(each[kind == one])
    return middle


def _times(off: float) -> str:
    factor = float(np.exp(abs(off)))
    beside = (
        f"{factor:.1f} times that of the other rows"
        if off > 0
        else (f"1/{factor:.1f} of that of the other rows")
    )
    near = [units for slip, units in _SLIPS.items() if abs(np.log(factor / slip)) < 0.2]
    return beside + (f", as {_slip(near[0], off > 0)} would make it" if near else "")


def _slip(units: tuple[str, str], too_high: bool) -> str:
    typed, meant = units if too_high else reversed(units)
    return f"{typed} for {meant}" if typed else "a decimal point"


def _picking_off(first: list[int], off: float, rows: int) -> Problem:
    return Problem(
        "picking_unit",
        f"in this picking ({rows} rows) the weight per fruit is {_times(off)}",
        "Look in which unit the scales stood that day",
        first,
        "weight",
        "question",
    )


def harvest_that_never_ends(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """Pickings long after all others."""
    rows = tables["harvest"]
    days, dates = rows.days()
    if len(dates) < 4:
        return
    gaps = np.diff(dates) / np.timedelta64(1, "D")
    usual = float(np.median(gaps))
    late = np.flatnonzero(gaps[-2:] > max(14.0, 4 * usual))
    if len(late):
        at = len(dates) - 2 + int(late[0])
        yield (
            "harvest",
            Problem(
                "late_picking",
                f"this picking comes {gaps[at - 1]:.0f} days after the one before; others come "
                f"every {usual:.0f} days",
                "Look whether the date is right, and whether the trial still stood",
                rows.first(days == at),
                "date",
                "question",
            ),
        )
