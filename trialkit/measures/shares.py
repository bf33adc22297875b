"""Shares of the fruit picked: culls by cause, fruit in the target size."""

import pandas as pd

from trialkit.measures.result import leave_out, result, without_value
from trialkit.measures.site_data import SiteData
from trialkit.measures.yields import CULL, no_picking, picked
from trialkit.study import Measure
from trialkit.study.units import to_canonical


def cull_percent(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Percent of the fruit picked that was culled, of all causes or of the measure's own.

    events are fruit culled, trials all fruit picked; rows without a number of fruit do not count.
    """
    rows = picked(data.harvest).dropna(subset=["fruit"])
    culls = rows[rows["grade"] == CULL]
    if measure.cull_cause is not None:
        culls = culls[culls["cull_cause"] == measure.cull_cause]
    trials = rows.groupby("plot", observed=True)["fruit"].sum()
    events = culls.groupby("plot", observed=True)["fruit"].sum()
    frame = _share(data, events, trials)
    frame = leave_out(
        frame, frame.index.difference(data.harvest["plot"].unique().tolist()), no_picking(data)
    )
    return leave_out(frame, without_value(frame), "no fruit was picked, or none was counted")


def target_size_share(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Percent of the fruit measured that lie in the target size, both ends included.

    size_from and size_to are typed in the study's unit of length; sizes are in mm.
    """
    sizes = data.fruit_sizes.assign(size=pd.to_numeric(data.fruit_sizes[measure.size_column]))
    sizes = sizes.dropna(subset=["size"])
    # Half a hundredth of a millimetre: 3.0 in typed twice must not differ by a rounding of floats.
    low, high = (_mm(end, data) for end in (measure.size_from, measure.size_to))
    inside = sizes["size"].between(low - 0.005, high + 0.005)
    by_plot = inside.groupby(sizes["plot"], observed=True)
    frame = _share(data, by_plot.sum(), by_plot.size())
    words = f"the {measure.size_column} of no fruit was measured"
    return leave_out(frame, without_value(frame), words)


def _mm(end: float | None, data: SiteData) -> float:
    return float(to_canonical(end, "length", data.study.units))


def _share(data: SiteData, events: pd.Series, trials: pd.Series) -> pd.DataFrame:
    trials = trials[trials > 0]
    events = events.reindex(trials.index, fill_value=0)
    return result(data, value=100.0 * events / trials, events=events, trials=trials)
