"""The season as planned and as run, for a figure: windows and what fell into or out of them."""

from collections.abc import Mapping
from typing import Final

import pandas as pd

from trialkit.measures.protocol import is_due, timed, visits_of
from trialkit.measures.site_data import SiteData, site_data
from trialkit.study import ProtocolRule, Study

TIMELINE: Final = (
    "rule",
    "what",
    "treatment",
    "kind",
    "plots",
    "planned_first",
    "planned_last",
    "happened_first",
    "happened_last",
    "kept",
)


def timeline(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return the planned window and the actual dates per rule and treatment (columns TIMELINE).

    ``kind`` is "event": one row per rule and treatment, from the earliest window's start to the
    latest one's end over its plots; or "visit": one row per date on which plots of the treatment
    were visited, the window being how long after the visit before it was due. ``kept`` says that
    every plot was on time; dates not on record are NaT. In a season still running an event that is
    not due yet is kept and has no date. A rule of which neither plan nor event is known has no row.
    """
    data = site_data(study, season, site, tables)
    parts = [
        _event_rows(rule, data, tables) if rule.event else _visit_rows(rule, data, tables)
        for rule in study.protocol
    ]
    known = [part for part in parts if len(part)]
    if not known:
        return pd.DataFrame(columns=list(TIMELINE))
    return pd.concat(known, ignore_index=True)[list(TIMELINE)]


def _event_rows(
    rule: ProtocolRule, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    plots, slack = timed(rule, data), pd.Timedelta(days=rule.within)
    waiting = plots["happened"].isna() & ~is_due(rule, plots, data, tables)
    start, end = plots["planned"] - slack, plots["planned"] + slack
    kept = plots["happened"].between(start, end) | waiting
    plots = plots.assign(start=start, end=end, kept=kept)
    plots = plots.dropna(subset=["planned", "happened"], how="all")
    rows = plots.groupby("treatment", observed=True).agg(
        plots=("plot", "size"),
        planned_first=("start", "min"),
        planned_last=("end", "max"),
        happened_first=("happened", "min"),
        happened_last=("happened", "max"),
        kept=("kept", "all"),
    )
    return rows.reset_index().assign(rule=rule.id, what=rule.what, kind="event")


def _visit_rows(
    rule: ProtocolRule, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    visits = visits_of(rule, data, tables)
    before = visits.groupby("plot", observed=True)["date"].shift()
    longest = pd.Timedelta(days=int(rule.every_days or 0) + rule.within)
    kept = before.isna() | (visits["date"] - before <= longest)
    visits = visits.assign(before=before, due=before + longest, kept=kept)
    rows = visits.groupby(["treatment", "date"], observed=True).agg(
        plots=("plot", "nunique"),
        planned_first=("before", "min"),
        planned_last=("due", "max"),
        kept=("kept", "all"),
    )
    rows = rows.reset_index().rename(columns={"date": "happened_first"})
    happened = rows["happened_first"]
    return rows.assign(happened_last=happened, rule=rule.id, what=rule.what, kind="visit")
