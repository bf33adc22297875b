"""Visits: which dates make one round of the site, how far apart rounds are, which are whole."""

from collections.abc import Iterable
from typing import NamedTuple

import pandas as pd


class Round(NamedTuple):
    """One round through a site; it may take a few days, but comes to each plot once."""

    first: pd.Timestamp
    last: pd.Timestamp
    plots: frozenset[object]


class Window(NamedTuple):
    """The stretch of a season that the plots of a site have in common, and its slack."""

    first: pd.Timestamp
    last: pd.Timestamp
    slack: pd.Timedelta


def rounds(rows: pd.DataFrame) -> tuple[Round, ...]:
    """Return the rounds of a table with columns plot and date, in order of date.

    Days that follow each other belong to one round as long as no plot comes up twice.
    """
    found: list[Round] = []
    for date, plots in rows.groupby("date", sort=True)["plot"]:
        here = frozenset(plots.unique())
        day = pd.Timestamp(str(date))
        last = found[-1] if found else None
        if last and (day - last.last).days <= 1 and not here & last.plots:
            found[-1] = Round(last.first, day, last.plots | here)
        else:
            found.append(Round(day, day, here))
    return tuple(found)


def last_whole_round(rows: pd.DataFrame, plots: Iterable[object]) -> pd.Timestamp | None:
    """Return the last date of the last round that came to all ``plots`` (None: no round did)."""
    wanted = frozenset(plots)
    whole = [visit.last for visit in rounds(rows) if wanted <= visit.plots] if wanted else []
    return whole[-1] if whole else None


def usual_gap(visits: pd.DataFrame) -> pd.Timedelta:
    """Return the median time between a plot's visits (0 where no plot was visited twice)."""
    gaps = _gaps(visits).dropna()
    return pd.Timedelta(gaps.median()) if len(gaps) else pd.Timedelta(0)


def longest_gap(visits: pd.DataFrame) -> pd.Series:
    """Return the longest time between two visits, by plot (NaT for a single visit)."""
    return _gaps(visits).groupby(visits["plot"], observed=True).max()


def common_window(visits: pd.DataFrame) -> Window:
    """Return the stretch in which at least half of the plots were visited.

    It runs from the median first date to the median last date of the plots; the slack is half of
    the usual gap, so that a round spread over a few days counts as one.
    """
    ends = visits.groupby("plot", observed=True)["date"].agg(["min", "max"])
    first = ends["min"].sort_values().iloc[(len(ends) - 1) // 2]
    last = ends["max"].sort_values().iloc[len(ends) // 2]
    return Window(first, last, usual_gap(visits) / 2)


def _gaps(visits: pd.DataFrame) -> pd.Series:
    ordered = visits.sort_values(["plot", "date"], kind="stable")
    return ordered.groupby("plot", observed=True)["date"].diff()
