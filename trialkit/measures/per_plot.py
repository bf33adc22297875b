"""One number per plot for every measure that the study declares, with what was left out and why."""

from collections.abc import Callable, Mapping
from typing import Final

import pandas as pd

from trialkit import columns
from trialkit.measures import counts, flowering, ratings, shares, yields
from trialkit.measures.site_data import SiteData, site_data
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
NOTES: Final = ("season", "site", "measure", "plot", "note")


def plot_values(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return columns.PLOT_VALUES: one row per plot and measure that study.toml declares.

    Values are in canonical units (kg/m², kg, days), percent for proportions. events and trials
    are the numerator and denominator of a proportion. For a count, events is the total counted
    and exposure what it was counted on (plants examined, plants of the plot), so that
    value = events / exposure; an area such as insect-days has a value only. ``left_out`` says in
    words why a plot is not analysed; a value beside it is for the record only.
    """
    return _measured(study, season, site, tables)[list(columns.PLOT_VALUES)]


def left_out(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return columns.LEFT_OUT: what is not analysed and why.

    A plot that is out of every measure for one reason has a single row with an empty measure; a
    measure that every standing plot lacks for one reason has a single row with an empty plot.
    """
    values = _measured(study, season, site, tables)
    out = values[values["left_out"] != ""].rename(columns={"left_out": "reason"})
    by_plot = _collapsed(out, ["plot", "reason"], "measure", len(study.measures))
    standing = int((values["lost"] == "").sum()) // len(study.measures)
    return _collapsed(by_plot, ["measure", "reason"], "plot", standing)[list(columns.LEFT_OUT)]


def notes(study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return season, site, measure, plot, note: what a reader should know of values kept.

    A note on every plot of a measure has a single row with an empty plot.
    """
    values = _measured(study, season, site, tables)
    said = values[(values["note"] != "") & (values["left_out"] == "")]
    kept = values.loc[values["left_out"] == "", "plot"].nunique()
    return _collapsed(said, ["measure", "note"], "plot", kept)[list(NOTES)]


def _measured(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    data = site_data(study, season, site, tables)
    each = {m.id: KIND_FUNCTIONS[m.kind](m, data) for m in study.measures}
    standing = pd.concat(each, names=["measure", "plot"]).reset_index()
    every = data.plots[["plot", "block", "treatment", "lost"]]
    pairs = every.merge(pd.DataFrame({"measure": [m.id for m in study.measures]}), how="cross")
    values = pairs.merge(standing, on=["measure", "plot"], how="left")
    reason = values["left_out"].where(values["lost"] == "", "plot lost: " + values["lost"])
    values = values.assign(season=season, site=site, left_out=reason)
    return values.assign(note=values["note"].fillna(""))


def _collapsed(rows: pd.DataFrame, same: list[str], free: str, whole: int) -> pd.DataFrame:
    """Replace the rows that agree in ``same`` over all of ``free`` by one with ``free`` empty."""
    number = rows.groupby(same, observed=True)[free].transform("size")
    blank = rows[free].astype(object).mask((number == whole) & (number > 1), "")
    merged = rows.assign(**{free: blank})
    return merged.drop_duplicates([*same, free]).reset_index(drop=True)
