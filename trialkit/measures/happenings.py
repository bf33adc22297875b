"""When something happened on each plot, from the events table."""

import pandas as pd

from trialkit.measures.site_data import SiteData
from trialkit.measures.steady import once_per_data
from trialkit.measures.tables import is_blank


@once_per_data
def dates_of(data: SiteData, event: str) -> pd.Series:
    """Return the first date of ``event`` by standing plot (NaT: not recorded).

    A plot's own entry goes before one for the whole site (an entry without a plot).
    """
    rows = data.events[data.events["event"] == event]
    whole_site = rows.loc[is_blank(rows["plot"]), "date"].min()
    own = rows[~is_blank(rows["plot"])].groupby("plot", observed=True)["date"].min()
    plots = data.standing.index
    dates = pd.to_datetime(pd.Series(pd.NaT, index=plots) if own.empty else own.reindex(plots))
    return dates if pd.isna(whole_site) else dates.fillna(whole_site)


def by_plot(data: SiteData, event: str) -> bool:
    """Say whether ``event`` was recorded plot by plot, not only for the whole site."""
    rows = data.events[data.events["event"] == event]
    return bool((~is_blank(rows["plot"])).any())


def days_after(dates: pd.Series, start: pd.Series) -> pd.Series:
    """Return whole days from ``start`` to ``dates``, by plot, as floats."""
    return (dates - start).dt.days.astype(float)


def nearest_dates(data: SiteData, event: str, planned: pd.Series) -> pd.Series:
    """Return, by plot of ``planned``, the date of ``event`` nearest to the planned one.

    As in :func:`dates_of` a plot's own entries go before those for the whole site. Without a
    planned date it is the first; without an entry it is NaT.
    """
    rows = data.events.loc[data.events["event"] == event, ["date", "plot"]]
    whole = is_blank(rows["plot"])
    own = rows[~whole & rows["plot"].isin(planned.index)]
    others = pd.DataFrame({"plot": planned.index.difference(own["plot"].unique().tolist())})
    candidates = pd.concat([own, others.merge(rows.loc[whole, ["date"]], how="cross")])
    off = (candidates["date"] - candidates["plot"].map(planned)).abs()
    ranked = candidates.assign(off=off).sort_values(["off", "date"], kind="stable")
    nearest = ranked.drop_duplicates("plot").set_index("plot")["date"]
    return pd.to_datetime(nearest.reindex(planned.index))
