"""Measures of what was picked: marketable and early yield, fruit number and weight."""

import pandas as pd

from trialkit.measures.result import leave_out, note, result, without_value
from trialkit.measures.site_data import SiteData
from trialkit.measures.visits import rounds
from trialkit.study import Measure

MARKETABLE = "marketable"
CULL = "cull"


def picked(harvest: pd.DataFrame) -> pd.DataFrame:
    """Return ``harvest`` with numbers in fruit and weight; none of the one is none of the other."""
    fruit, weight = pd.to_numeric(harvest["fruit"]), pd.to_numeric(harvest["weight"])
    return harvest.assign(
        fruit=fruit.mask(fruit.isna() & (weight == 0), 0.0).astype(float),
        weight=weight.mask(weight.isna() & (fruit == 0), 0.0).astype(float),
    )


def marketable_yield(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Marketable weight per area over all pickings, kg/m²."""
    return _per(data, data.harvest, "weight", "area")


def marketable_per_plant(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Marketable weight per plant over all pickings, kg."""
    return _per(data, data.harvest, "weight", "plants")


def early_yield(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Marketable weight per area in the first pickings of the site, kg/m².

    The pickings are those of the whole site, not of each plot: a plot that bears late has picked
    nothing early.
    """
    wanted = int(measure.pickings or 1)
    done = rounds(data.harvest)
    last = done[min(wanted, len(done)) - 1].last if done else pd.Timestamp.max
    early = data.harvest[data.harvest["date"] <= last]
    frame = _per(data, early, "weight", "area")
    if len(done) >= wanted or not done:
        return frame
    words = f"only {len(done)} of the first {wanted} pickings were made"
    if data.until.running:
        return leave_out(frame, frame.index, words + " so far")
    return note(frame, frame.index, words)


def fruit_number(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Marketable fruit per plant: fruit (events) over plants of the plot (exposure)."""
    return _per(data, data.harvest, "fruit", "plants", counted=True)


def mean_fruit_weight(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Mean weight of a marketable fruit, kg: over the pickings with both fruit and weight."""
    rows = _marketable(data.harvest).dropna(subset=["fruit", "weight"])
    sums = rows.groupby("plot", observed=True)[["fruit", "weight"]].sum()
    sums = sums[sums["fruit"] > 0]
    frame = _with_pickings(result(data, value=sums["weight"] / sums["fruit"]), data)
    return leave_out(frame, without_value(frame), "no marketable fruit with a weight was picked")


def _marketable(harvest: pd.DataFrame) -> pd.DataFrame:
    rows = picked(harvest)
    return rows[rows["grade"] == MARKETABLE]


def _per(
    data: SiteData, harvest: pd.DataFrame, what: str, size: str, counted: bool = False
) -> pd.DataFrame:
    """Marketable sum of a column over the plot's ``size``; 0 where nothing was borne."""
    rows = _marketable(harvest)
    bearing = data.standing.index.intersection(data.harvest["plot"].unique().tolist())
    total = rows.groupby("plot", observed=True)[what].sum().reindex(bearing, fill_value=0.0)
    sizes = data.standing[size].where(data.standing[size] > 0)
    numbers = {"events": total, "exposure": sizes.reindex(bearing)} if counted else {}
    frame = result(data, value=total / sizes.reindex(bearing), **numbers)
    frame = _unknown(frame, rows[rows[what].isna()], what)
    frame = leave_out(frame, sizes.index[sizes.isna()], f"the plots table does not give its {size}")
    return _with_pickings(frame, data)


def _unknown(frame: pd.DataFrame, holes: pd.DataFrame, what: str) -> pd.DataFrame:
    first = holes.groupby("plot", observed=True)["date"].min()
    noun = {"fruit": "number of fruit", "weight": "weight"}[what]
    words = [f"the {noun} of the picking of {date:%Y-%m-%d} is missing" for date in first]
    frame = leave_out(frame, first.index, pd.Series(words, index=first.index, dtype=object))
    return frame.assign(value=frame["value"].mask(frame.index.isin(first.index)))


def _with_pickings(frame: pd.DataFrame, data: SiteData) -> pd.DataFrame:
    never = frame.index.difference(data.harvest["plot"].unique().tolist())
    return leave_out(frame, never, no_picking(data))


def no_picking(data: SiteData) -> str:
    """Return why a plot without rows of harvest has no yield, in words."""
    if data.until.running and data.until.dates.get("harvest") is None:
        return "no complete picking yet"
    return "no picking on record (a plot that was picked and bore nothing needs a row with 0)"
