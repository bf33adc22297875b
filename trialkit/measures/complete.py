"""How far the data of a site-season reach: a season still running counts up to its whole rounds."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from trialkit.measures.steady import once_per_tables
from trialkit.measures.tables import plots_of, table_of
from trialkit.measures.visits import last_whole_round, rounds
from trialkit.study import Study

# A table whose rows of a running season count up to the last whole round of (another) table.
CLIPPED_BY: Final = {
    "scouting": "scouting",
    "ratings": "ratings",
    "harvest": "harvest",
    "fruit_sizes": "harvest",
}
_WORDS: Final = {"scouting": "counts", "ratings": "scores", "harvest": "pickings"}


@dataclass(frozen=True)
class LastComplete:
    """Up to which date each table of a site-season is analysed.

    running : True while study.toml says that the season is not finished.
    dates   : table -> last date analysed; None where no round is whole yet. A finished season
              has the last date on record, a table without rows is absent.
    words   : the same for people; empty for a finished season.
    """

    running: bool
    dates: Mapping[str, pd.Timestamp | None]
    words: str


@once_per_tables
def last_complete(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> LastComplete:
    """Return up to which date the tables of a site-season are analysed, with words.

    A date is complete when it ends a round that came to every plot still in the trial (for
    pickings: to every plot that has borne so far, because a plot without ripe fruit has no row).
    """
    running = not study.season(season).finished
    plots = plots_of(tables)
    standing = list(plots.loc[plots["lost"] == "", "plot"])
    seen = {name: _rows(table_of(tables, name), standing) for name in _WORDS}
    seen = {name: rows for name, rows in seen.items() if len(rows)}
    if not running:
        return LastComplete(False, {name: rows["date"].max() for name, rows in seen.items()}, "")
    dates = {name: _last_whole(name, rows, standing) for name, rows in seen.items()}
    words = [_in_words(name, dates[name], rows, standing) for name, rows in seen.items()]
    words += [f"There are no {what} yet." for name, what in _WORDS.items() if name not in seen]
    opening = f"The {season} season at {study.site(site).name} is still running."
    return LastComplete(True, dates, " ".join([opening, *words]))


def _rows(table: pd.DataFrame, standing: list[object]) -> pd.DataFrame:
    rows = table.loc[table["plot"].isin(standing), ["date", "plot"]]
    return rows.drop_duplicates()


def _last_whole(name: str, rows: pd.DataFrame, standing: list[object]) -> pd.Timestamp | None:
    if name == "harvest":
        return last_whole_round(rows, rows["plot"].unique())
    return last_whole_round(rows, standing)


def _in_words(
    name: str, date: pd.Timestamp | None, rows: pd.DataFrame, standing: list[object]
) -> str:
    what = _WORDS[name]
    if date is None:
        return f"No round of {what} has come to every plot yet, so none is analysed."
    text = f"{what.capitalize()} are analysed up to {date:%Y-%m-%d}, the last complete date."
    later = [visit for visit in rounds(rows) if visit.last > date]
    if not later:
        return text
    missing = len(frozenset(standing) - later[-1].plots)
    return f"{text} The round of {later[-1].last:%Y-%m-%d} still lacks {_count(missing, 'plot')}."


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
