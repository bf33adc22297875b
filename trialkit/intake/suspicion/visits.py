"""Visits whose date looks off by a month."""

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from itertools import pairwise
from statistics import median
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, Tables

_TABLES: Final = ("scouting", "ratings", "harvest")


def months_off(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """A day that, one month earlier or later, fills a gap: whole visits, or plots of one."""
    for table in _TABLES:
        rows = tables[table]
        visits = _visits(rows)
        if len(visits) < 5:
            continue
        most = max(map(len, visits.values()))
        for day, plots in visits.items():
            meant = _fills(day, plots, visits, most)
            if meant is not None:
                yield table, _month(rows, day, meant)


def _visits(rows: Rows) -> dict[dt.date, set[str]]:
    """Plots seen on each day, days in the order of the sheet."""
    (days, found), (codes, plots) = rows.days(), rows.words("plot")
    dates: list[dt.date] = found.astype("datetime64[D]").tolist()
    seen: dict[dt.date, set[str]] = {}
    for both in pd.unique(days * len(plots) + codes).tolist():
        seen.setdefault(dates[both // len(plots)], set()).add(plots[both % len(plots)])
    return seen


def _fills(
    day: dt.date, plots: set[str], visits: Mapping[dt.date, set[str]], most: int
) -> dt.date | None:
    for months in (-1, 1):
        other = _shifted(day, months)
        lacking = visits.get(other)
        if lacking is None:
            if len(plots) > most / 2 and _better_placed(day, other, visits):
                return other
        elif _part_of(plots, lacking, most):
            return other
    return None


@lru_cache(maxsize=2048)
def _shifted(day: dt.date, months: int) -> dt.date:
    return (pd.Timestamp(day) + pd.DateOffset(months=months)).date()


def _part_of(plots: set[str], lacking: set[str], most: int) -> bool:
    """Say whether a few plots are those that a fuller visit lacks."""
    few = len(plots) <= most / 2 and len(plots) < len(lacking)
    return few and not plots & lacking and len(lacking) + len(plots) <= most


def _better_placed(day: dt.date, other: dt.date, visits: Iterable[dt.date]) -> bool:
    """Say whether ``other`` falls into the middle of a gap, and ``day`` stands oddly."""
    rest = sorted(one for one in visits if one != day)
    if not rest[0] < other < rest[-1]:
        return False
    usual = median((late - early).days for early, late in pairwise(rest))
    nearest = min(abs((one - day).days) for one in rest)
    room = min(abs((one - other).days) for one in rest)
    odd = nearest <= 0.45 * usual or nearest >= 1.7 * usual
    return room >= 0.7 * usual and odd


def _month(rows: Rows, day: dt.date, meant: dt.date) -> Problem:
    here = rows.values("date") == np.datetime64(day)
    return Problem(
        "month_off",
        f"{here.sum()} rows are dated {day}; {meant} would fill a gap in the visits",
        "Look at the date on the field sheet",
        rows.first(here),
        "date",
        "question",
    )
