"""The tables of a site-season as the measures see them: plots still standing, complete dates."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from trialkit.measures.complete import CLIPPED_BY, LastComplete, last_complete
from trialkit.measures.steady import once_per_tables
from trialkit.measures.tables import COLUMNS, is_blank, plots_of, table_of
from trialkit.study import Study


@dataclass(frozen=True)
class SiteData:
    """One site-season, ready to be measured.

    plots : every plot, with columns plot, block, treatment, plants, area, lost ("" if standing).
    standing : those of them that are not lost, indexed by plot.
    scouting ... weather : rows with a date, of standing plots, up to the last complete date.
    until : how far the tables reach.
    known : what was derived from all this already.
    """

    study: Study
    season: int
    site: str
    plots: pd.DataFrame
    standing: pd.DataFrame
    scouting: pd.DataFrame
    ratings: pd.DataFrame
    harvest: pd.DataFrame
    fruit_sizes: pd.DataFrame
    events: pd.DataFrame
    weather: pd.DataFrame
    until: LastComplete
    known: dict[Any, Any] = field(default_factory=dict, init=False, repr=False, compare=False)


@once_per_tables
def site_data(study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]) -> SiteData:
    """Return the tables of a site-season cut down to what is analysed."""
    plots = plots_of(tables)
    standing = plots[plots["lost"] == ""].set_index("plot")
    until = last_complete(study, season, site, tables)
    kept = {name: _kept(name, tables, standing.index, until) for name in COLUMNS}
    return SiteData(study, season, site, plots, standing, until=until, **kept)


def _kept(
    name: str, tables: Mapping[str, pd.DataFrame], standing: pd.Index, until: LastComplete
) -> pd.DataFrame:
    table = table_of(tables, name)
    if name == "weather":
        return table
    if name == "events":
        return table[is_blank(table["plot"]) | table["plot"].isin(standing)]
    return _up_to(table[table["plot"].isin(standing)], name, until)


def _up_to(table: pd.DataFrame, name: str, until: LastComplete) -> pd.DataFrame:
    if not until.running or table.empty:
        return table
    last = until.dates.get(CLIPPED_BY[name])
    return table.iloc[:0] if last is None else table[table["date"] <= last]
