"""One number per plot for every measure that the study declares, with what was left out and why."""

from collections.abc import Callable, Mapping
from typing import Final

import pandas as pd

from trialkit import columns
from trialkit.measures import counts, flowering, ratings, shares, yields
from trialkit.measures.dropped import without_dropped
from trialkit.measures.site_data import SiteData, site_data
from trialkit.measures.steady import once_per_tables
from trialkit.study import Measure, Study

KIND_FUNCTIONS: Final[dict[str, Callable[[Measure, SiteData], pd.DataFrame]]] = {
    "insect_days": counts.insect_days_per_plant,
    "season_mean": counts.season_mean,
    "peak_count": counts.peak_count,
    "days_to_threshold": counts.days_to_threshold,
    "percent_infested": counts.percent_infested,
    "damage_curve": ratings.damage_curve,
    "final_score": ratings.final_score,
    "marketable_yield": yields.marketable_yield,
    "marketable_per_plant": yields.marketable_per_plant,
    "early_yield": yields.early_yield,
    "fruit_number": yields.fruit_number,
    "mean_fruit_weight": yields.mean_fruit_weight,
    "target_size_share": shares.target_size_share,
    "cull_percent": shares.cull_percent,
    "days_to_first_bloom": flowering.days_to_first_bloom,
    "days_to_half_bloom": flowering.days_to_half_bloom,
}
LOST: Final = "plot lost: "
EVERY_PLOT: Final = "all plots"
NOTES: Final = ("season", "site", "measure", "plot", "note")


def plot_values(
    study: Study,
    season: int,
    site: str,
    tables: Mapping[str, pd.DataFrame],
    dropped: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return columns.PLOT_VALUES: one row per plot and measure that study.toml declares.

    Values are in canonical units (kg/m², kg, days), percent for proportions. events and trials
    are the numerator and denominator of a proportion. For a count, events is the total counted
    and exposure what it was counted on (plants examined, plants of the plot), so that
    value = events / exposure; an area such as insect-days has a value only. ``left_out`` says in
    words why a plot is not analysed; a value beside it is for the record only.

    ``dropped`` lists the rows of the files that intake could not use (columns table, row, plot,
    code; see :func:`trialkit.measures.dropped.without_dropped`).
    """
    return _measured(study, season, site, tables, dropped)[list(columns.PLOT_VALUES)]


def left_out(values: pd.DataFrame) -> pd.DataFrame:
    """Return columns.LEFT_OUT from the plot values of a site-season: what, where and why.

    A measure that every plot still standing lacks for one reason has a single row, whose plot is
    EVERY_PLOT.
    """
    out = values[values["left_out"] != ""].rename(columns={"left_out": "reason"})
    lost = out["reason"].str.startswith(LOST)
    standing = values["plot"].nunique() - out.loc[lost, "plot"].nunique()
    return _told_once(out, "reason", standing)[list(columns.LEFT_OUT)]


def notes(
    study: Study,
    season: int,
    site: str,
    tables: Mapping[str, pd.DataFrame],
    dropped: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return columns NOTES: what a reader should know of values that are analysed.

    A note on every plot of a measure has a single row, whose plot is EVERY_PLOT.
    """
    values = _measured(study, season, site, tables, dropped)
    kept = values[values["left_out"] == ""]
    analysed = kept.groupby("measure", observed=True)["plot"].transform("nunique")
    return _told_once(kept[kept["note"] != ""], "note", analysed)[list(NOTES)]


@once_per_tables
def _measured(
    study: Study,
    season: int,
    site: str,
    tables: Mapping[str, pd.DataFrame],
    dropped: pd.DataFrame | None,
) -> pd.DataFrame:
    data = site_data(study, season, site, tables)
    each = {
        m.id: without_dropped(KIND_FUNCTIONS[m.kind](m, data), m, dropped) for m in study.measures
    }
    standing = pd.concat(each, names=["measure", "plot"]).reset_index()
    every = data.plots[["plot", "block", "treatment", "lost"]]
    pairs = every.merge(pd.DataFrame({"measure": [m.id for m in study.measures]}), how="cross")
    values = pairs.merge(standing, on=["measure", "plot"], how="left")
    reason = values["left_out"].where(values["lost"] == "", LOST + values["lost"])
    values = values.assign(season=season, site=site, left_out=reason)
    return values.assign(note=values["note"].fillna(""))


def _told_once(rows: pd.DataFrame, words: str, plots: int | pd.Series) -> pd.DataFrame:
    """Replace rows of a measure that agree in ``words`` by one, where they are all ``plots``."""
    number = rows.groupby(["measure", words], observed=True)["plot"].transform("size")
    whole = plots if isinstance(plots, int) else plots.reindex(rows.index)
    alike = (number == whole) & (number > 1)
    merged = rows.assign(plot=rows["plot"].astype(object).mask(alike, EVERY_PLOT))
    return merged.drop_duplicates(["measure", words, "plot"]).reset_index(drop=True)
