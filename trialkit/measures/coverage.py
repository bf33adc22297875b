"""Whether a plot was visited through the whole season of its site, so that areas compare."""

from typing import NamedTuple

import pandas as pd

from trialkit.measures.visits import Window, common_window, longest_gap, usual_gap


class Coverage(NamedTuple):
    """Visits inside the common window, and words on plots that do not fill it.

    visits   : rows of plot and date inside the window.
    left_out : plot -> reason, for plots whose visits cannot stand for the season.
    notes    : plot -> note, for plots with a gap that is bridged by a straight line.
    """

    visits: pd.DataFrame
    left_out: pd.Series
    notes: pd.Series


def coverage(visits: pd.DataFrame, visited: str, at_least: int = 1) -> Coverage:
    """Return the visits that count, the plots that miss an end of the season and those with gaps.

    Areas over different stretches of time do not compare. So visits outside the stretch that at
    least half of the plots share do not count, and a plot that misses an end of it by more than
    half of the usual gap is left out (common practice, no source). ``visited`` is the verb,
    ``at_least`` the number of visits that a plot needs.
    """
    if visits.empty:
        return Coverage(visits, pd.Series(dtype=object), pd.Series(dtype=object))
    window = common_window(visits)
    inside = visits["date"].between(window.first - window.slack, window.last + window.slack)
    ends = visits.groupby("plot", observed=True)["date"].agg(["min", "max", "nunique"])
    few = ends[ends["nunique"] < at_least]
    short = (ends["min"] > window.first + window.slack) | (ends["max"] < window.last - window.slack)
    late = ends[short & (ends["nunique"] >= at_least)]
    left_out = pd.concat([_too_few(few, visited, at_least), _too_short(late, visited, window)])
    kept = visits[inside]
    return Coverage(kept, left_out, _gap_notes(kept, visited))


def _too_few(ends: pd.DataFrame, visited: str, at_least: int) -> pd.Series:
    words = [f"{visited} on {number} of at least {at_least} dates" for number in ends["nunique"]]
    return pd.Series(words, index=ends.index, dtype=object)


def _too_short(ends: pd.DataFrame, visited: str, window: Window) -> pd.Series:
    words = [
        f"{visited} only from {first:%Y-%m-%d} to {last:%Y-%m-%d}; most plots of the site from "
        f"{window.first:%Y-%m-%d} to {window.last:%Y-%m-%d}"
        for first, last in zip(ends["min"], ends["max"], strict=True)
    ]
    return pd.Series(words, index=ends.index, dtype=object)


def _gap_notes(visits: pd.DataFrame, visited: str) -> pd.Series:
    usual, longest = usual_gap(visits), longest_gap(visits)
    if not usual:
        return pd.Series(dtype=object)
    wide = longest[longest >= 2 * usual].dt.days
    words = [
        f"not {visited} for {days} days (usually {usual.days}); a straight line bridges the gap"
        for days in wide
    ]
    return pd.Series(words, index=wide.index, dtype=object)
