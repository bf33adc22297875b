"""Measures of what was counted on plants: insect-days, means, peaks, thresholds, infested."""

import pandas as pd

from trialkit.measures.censoring import leave_out_censored
from trialkit.measures.coverage import Coverage, coverage
from trialkit.measures.curves import areas_by_plot
from trialkit.measures.happenings import dates_of, days_after
from trialkit.measures.result import leave_out, note, result, without_value
from trialkit.measures.site_data import SiteData
from trialkit.measures.steady import once_per_data
from trialkit.measures.tables import is_blank
from trialkit.study import Measure


def visit_counts(
    scouting: pd.DataFrame, plants_of_plot: pd.Series, organism: str, stage: str | None = None
) -> pd.DataFrame:
    """Return one row per plot and date: plants examined, total, infested plants, mean per plant.

    Without ``stage`` the stages of a plant are added up. A plant with an empty count is not among
    the examined. A row without a plant is a count of the whole plot: its plants are those of
    ``plants_of_plot`` (by plot), and which of them were infested is not known (NaN).
    """
    rows = scouting[scouting["organism"] == organism]
    rows = rows if stage is None else rows[rows["stage"] == stage]
    keys = ["plot", "date", "plant"]
    whole = is_blank(rows["plant"])
    rows = rows.assign(plant=rows["plant"].mask(whole), count=pd.to_numeric(rows["count"]))
    plant = rows.groupby(keys, dropna=False, observed=True, sort=False)["count"]
    each = plant.sum(skipna=False).dropna().reset_index()
    unnamed = each["plant"].isna()
    plants = each["plot"].map(plants_of_plot).where(unnamed, 1.0).astype(float)
    infested = (each["count"] > 0).astype(float).mask(unnamed)
    each = each.assign(plants=plants, infested=infested)
    each = each.rename(columns={"count": "total"}).astype({"total": float})
    by_visit = each.groupby(["plot", "date"], observed=True)[["plants", "total", "infested"]]
    visits = by_visit.sum(skipna=False)
    return visits.assign(mean=visits["total"] / visits["plants"]).reset_index()


def insect_days_per_plant(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Insect-days per plant over the plot's own dates (Ruppel 1983)."""
    seen = coverage(_visits(measure, data), "scouted", at_least=2)
    return _covered(result(data, value=areas_by_plot(seen.visits, "mean")), measure, data, seen)


def season_mean(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Mean count per plant: total counted (events) over plants examined (exposure)."""
    seen = _seen(measure, data)
    sums = seen.visits.groupby("plot", observed=True)[["total", "plants"]].sum(min_count=1)
    value = sums["total"] / sums["plants"]
    frame = result(data, value=value, events=sums["total"], exposure=sums["plants"])
    return _covered(frame, measure, data, seen)


def peak_count(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Highest visit mean per plant, with the total and the plants of that visit."""
    visits = _visits(measure, data)
    ranked = visits.sort_values(["plot", "mean", "date"], ascending=[True, False, True])
    top = ranked.drop_duplicates("plot").set_index("plot")
    frame = result(data, value=top["mean"], events=top["total"], exposure=top["plants"])
    return _without_counts(frame, measure, data)


def percent_infested(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Percent of the plants examined at all visits (trials) that had at least one (events)."""
    seen = _seen(measure, data)
    by_plot = seen.visits.groupby("plot", observed=True)
    infested = by_plot["infested"].sum(skipna=False)
    examined = by_plot["plants"].sum().where(infested.notna())
    frame = result(data, value=100 * infested / examined, events=infested, trials=examined)
    whole = infested.index[infested.isna()]
    frame = leave_out(frame, whole, "counts are of whole plots, not of single plants")
    return _covered(frame, measure, data, seen)


def days_to_threshold(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Days from transplanting to the first visit whose mean per plant is at the threshold or over.

    A plot that never gets there is censored: its days are only known to be more than those to its
    last visit, so it is left out, and with it the treatment, whose mean cannot be known.
    """
    visits = _visits(measure, data)
    over = visits[visits["mean"] >= measure.threshold]
    passed = over.groupby("plot", observed=True)["date"].min().reindex(data.standing.index)
    start, words = _start(visits, data)
    frame = result(data, value=days_after(pd.to_datetime(passed), start))
    frame = note(frame, frame.index[start.notna()], words) if words else frame
    ends = visits.groupby("plot", observed=True)["date"].agg(["min", "max"])
    at_once = passed[passed.notna() & (passed == ends["min"].reindex(passed.index))].index
    frame = note(frame, at_once, "at the threshold on the first visit; passed on or before it")
    censored = ends.loc[ends.index.difference(passed.dropna().index), "max"]
    what = f"the threshold of {measure.threshold:g} per plant was not reached"
    frame = leave_out_censored(frame, data, censored, start, what)
    return _without_counts(frame, measure, data)


def _start(visits: pd.DataFrame, data: SiteData) -> tuple[pd.Series, str]:
    planted = dates_of(data, "transplanted")
    if planted.notna().any() or visits.empty:
        return planted, ""
    first = visits["date"].min()
    words = f"no transplanting on record; days are counted from the first visit, {first:%Y-%m-%d}"
    return planted.fillna(first), words


def _visits(measure: Measure, data: SiteData) -> pd.DataFrame:
    return _visits_of(data, str(measure.organism), measure.stage)


@once_per_data
def _visits_of(data: SiteData, organism: str, stage: str | None) -> pd.DataFrame:
    return visit_counts(data.scouting, data.standing["plants"], organism, stage)


def _seen(measure: Measure, data: SiteData) -> Coverage:
    return coverage(_visits(measure, data), "scouted")


def _covered(frame: pd.DataFrame, measure: Measure, data: SiteData, seen: Coverage) -> pd.DataFrame:
    frame = leave_out(frame, seen.left_out.index, seen.left_out)
    frame = note(frame, seen.notes.index, seen.notes)
    return _without_counts(frame, measure, data)


def _without_counts(frame: pd.DataFrame, measure: Measure, data: SiteData) -> pd.DataFrame:
    rows = data.scouting[data.scouting["organism"] == measure.organism]
    counted = rows.loc[rows["count"].notna() & is_blank(rows["plant"]), "plot"].unique().tolist()
    bare = frame.index.intersection(counted).intersection(without_value(frame))
    frame = leave_out(frame, bare, "counts are of whole plots, and its number of plants is missing")
    name = next(o.name for o in data.study.organisms if o.id == measure.organism)
    stage = f", stage {measure.stage}" if measure.stage else ""
    waiting = data.until.running and data.until.dates.get("scouting", 0) is None
    words = "no complete round of counts yet" if waiting else f"never scouted for {name}{stage}"
    return leave_out(frame, without_value(frame), words)
