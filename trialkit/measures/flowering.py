"""When the plots came into bloom: days from transplanting to first and to half bloom."""

from collections.abc import Mapping
from typing import Final

import pandas as pd

from trialkit.measures.censoring import leave_out_censored
from trialkit.measures.happenings import by_plot, dates_of, days_after
from trialkit.measures.result import leave_out, result, without_value
from trialkit.measures.site_data import SiteData, site_data
from trialkit.study import Measure, Study

BLOOM_EVENTS: Final = ("transplanted", "first_bloom", "half_bloom")
LAST_BLOOM: Final = "last_bloom"


def bloom(study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return plot, block, treatment and the dates of BLOOM_EVENTS, one row per standing plot."""
    data = site_data(study, season, site, tables)
    dates = {event: dates_of(data, event) for event in BLOOM_EVENTS}
    return data.standing[["block", "treatment"]].assign(**dates).reset_index()


def bloom_spans(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return treatment, start and end of bloom, one row per treatment that bloomed.

    Bloom starts with the first flower of the treatment's first plot. It ends with the last
    ``last_bloom`` on record, else with the last picking, because a crop picked over and over
    flowers until then (common practice, no source). NaT: no end yet, the season still runs.
    """
    return spans_of(site_data(study, season, site, tables))


def spans_of(data: SiteData) -> pd.DataFrame:
    """Return the bloom of each treatment; see :func:`bloom_spans`."""
    treatment = data.standing["treatment"]
    start = dates_of(data, "first_bloom").groupby(treatment, observed=True).min()
    end = dates_of(data, LAST_BLOOM).groupby(treatment, observed=True).max()
    if not data.until.running:
        end = end.fillna(data.harvest["date"].max())
    spans = pd.DataFrame({"start": start, "end": end}).dropna(subset=["start"])
    return spans.rename_axis("treatment").reset_index()


def days_to_first_bloom(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Days from transplanting to the first flower of the plot."""
    return _days_to("first_bloom", data)


def days_to_half_bloom(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Days from transplanting to flowers on half of the plot's plants."""
    return _days_to("half_bloom", data)


def _days_to(event: str, data: SiteData) -> pd.DataFrame:
    planted, opened = dates_of(data, "transplanted"), dates_of(data, event)
    name = event.replace("_", " ")
    frame = result(data, value=days_after(opened, planted))
    if opened.notna().any() and not by_plot(data, event):
        words = f"{name} was recorded for the whole site, not plot by plot"
        frame = leave_out(frame, opened.index[opened.notna()], words)
    frame = leave_out(frame, planted.index[planted.isna()], "no transplanting on record")
    if data.until.running and by_plot(data, event):
        waiting = opened.index[opened.isna()]
        last = pd.Series(data.events["date"].max(), index=waiting)
        frame = leave_out_censored(frame, data, last, planted, f"{name} was not reached")
    return leave_out(frame, without_value(frame), f"no {name} on record")
