"""Harvests that are odd: weights that do not fit the fruit, a picking long after all others."""

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem, rows_where

# Factors between units and of a decimal point: lb in a kg, oz in a lb, g in an oz, kg in a g.
_SLIPS: Final = {
    2.2046: ("lb", "kg"),
    10.0: ("", ""),
    16.0: ("oz", "lb"),
    28.35: ("g", "oz"),
}
_FAR: Final = 6.0
_LEAST_FACTOR: Final = 1.9


def weights_off(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """Weight per fruit far from that of the same grade, in one row or in a whole picking."""
    rows = tables["harvest"]
    rows = rows[(rows["fruit"] > 0) & (rows["weight"] > 0)]
    if len(rows) < 12:
        return
    each = pd.Series(np.log(rows["weight"] / rows["fruit"]), index=rows.index)
    off = each - each.groupby([rows["grade"], rows["cull_cause"].fillna("")]).transform("median")
    days = off.groupby(rows["date"]).agg(["median", "size"])
    slipped = days.index[(days["median"].abs() > np.log(_LEAST_FACTOR)) & (days["size"] >= 4)]
    for day in slipped:
        here = rows.index[rows["date"] == day]
        yield "harvest", _picking_off(int(here[0]), float(days["median"][day]), len(here))
    spread = max(1.4826 * float(off.abs().median()), 0.08)
    limit = np.maximum(_FAR * spread / np.sqrt(rows["fruit"].clip(upper=4)), np.log(_LEAST_FACTOR))
    odd = (off.abs() > limit) & ~rows["date"].isin(slipped)
    if odd.any():
        words = [f"the weight per fruit is {_times(value)}" for value in off[odd]]
        remedy = "Look at the field sheet for the unit, the decimal point and the number of fruit"
        yield "harvest", Problem("weight_off", words, remedy, rows_where(odd), "weight", "question")


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


def _picking_off(row: int, off: float, rows: int) -> Problem:
    return Problem(
        "picking_unit",
        f"in this picking ({rows} rows) the weight per fruit is {_times(off)}",
        "Look in which unit the scales stood that day",
        [row],
        "weight",
        "question",
    )


def harvest_that_never_ends(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """Pickings long after all others."""
    rows = tables["harvest"]
    days = pd.Series(sorted(rows["date"].dropna().unique()))
    if len(days) < 4:
        return
    gaps = days.diff().dt.days
    usual = float(gaps.median())
    late = gaps.index[(gaps > max(14.0, 4 * usual)) & (gaps.index >= len(days) - 2)]
    if len(late):
        day = days[late[0]]
        yield (
            "harvest",
            Problem(
                "late_picking",
                f"this picking comes {gaps[late[0]]:.0f} days after the one before; others come "
                f"every {usual:.0f} days",
                "Look whether the date is right, and whether the trial still stood",
                [int(rows.index[rows["date"] == day][0])],
                "date",
                "question",
            ),
        )
