"""What the protocol planned against what happened, rule by rule and treatment by treatment."""

from collections.abc import Mapping

import pandas as pd

from trialkit import columns
from trialkit.measures.happenings import dates_of, nearest_dates
from trialkit.measures.protocol_words import gap_row, no_visit_row, timed_rows
from trialkit.measures.site_data import SiteData, site_data
from trialkit.measures.steady import once_per_data, once_per_tables
from trialkit.measures.tables import table_of
from trialkit.study import ProtocolRule, Study


@once_per_tables
def deviations(
    study: Study, season: int, site: str, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return columns.DEVIATIONS: where the trial departed from the rules of study.toml.

    One row per rule, treatment and way of departing. ``days`` is how far off: days after (+) or
    before (-) the planned date, or days by which a gap was longer than the rule allows without
    slack; of several plots the farthest; NaN where nothing can be counted. A rule for all plots
    that all treatments broke alike has one row with an empty treatment. In a season still running
    nothing is called missing before it is due.
    """
    data = site_data(study, season, site, tables)
    rows = [row for rule in study.protocol for row in _broken(rule, data, tables)]
    found = pd.DataFrame(rows, columns=["treatment", "rule", "planned", "happened", "days"])
    found = found.assign(season=season, site=site, days=found["days"].astype(float))
    return _alike(found, study)[list(columns.DEVIATIONS)]


def timed(rule: ProtocolRule, data: SiteData) -> pd.DataFrame:
    """Return plot, treatment, planned and happened date of a rule about an event, by plot.

    Of an event that happened more than once the one nearest to the plan is taken.
    """
    return _timed(data, rule.treatments, str(rule.event), str(rule.after), rule.days)


@once_per_data
def _timed(
    data: SiteData, treatments: tuple[str, ...], event: str, after: str, days: int
) -> pd.DataFrame:
    plots = _plots(treatments, data)
    planned = dates_of(data, after).reindex(plots.index) + pd.Timedelta(days=days)
    happened = nearest_dates(data, event, planned)
    return plots[["treatment"]].assign(planned=planned, happened=happened).reset_index()


def is_due(
    rule: ProtocolRule, plots: pd.DataFrame, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> pd.Series:
    """Say of each plot of :func:`timed` whether its window has passed (season over: of every)."""
    if not data.until.running:
        return pd.Series(True, index=plots.index)
    return plots["planned"] + pd.Timedelta(days=rule.within) < last_on_record(data, tables)


def visits_of(
    rule: ProtocolRule, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> pd.DataFrame:
    """Return treatment, plot and date of each visit that a rule about a table looks at.

    Pickings count for the whole treatment, because a plot without ripe fruit has no row.
    """
    plots = _plots(rule.treatments, data)
    table = table_of(tables, str(rule.table))
    rows = table.loc[table["plot"].isin(plots.index), ["plot", "date"]].drop_duplicates()
    rows = rows.assign(treatment=rows["plot"].map(plots["treatment"]))
    if rule.table == "harvest":
        rows = rows.assign(plot=rows["treatment"]).drop_duplicates()
    return rows[["treatment", "plot", "date"]].sort_values(["plot", "date"], kind="stable")


def last_on_record(data: SiteData, tables: Mapping[str, pd.DataFrame]) -> pd.Timestamp:
    """Return the last date of any count, score, picking or event of the site-season."""
    names = ("scouting", "ratings", "harvest", "events")
    dates = [table_of(tables, name)["date"].max() for name in names]
    known = [date for date in dates if not pd.isna(date)]
    return max(known, default=pd.Timestamp(data.study.season(data.season).first_date))


def _plots(treatments: tuple[str, ...], data: SiteData) -> pd.DataFrame:
    plots = data.standing
    return plots[plots["treatment"].isin(treatments)] if treatments else plots


def _broken(
    rule: ProtocolRule, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> list[tuple[object, ...]]:
    if rule.event is None:
        return _broken_gaps(rule, data, tables)
    plots = timed(rule, data)
    due = is_due(rule, plots, data, tables)
    off = (plots["happened"] - plots["planned"]).dt.days
    missing = plots["happened"].isna() & due
    unjudged = plots["planned"].isna() & (plots["happened"].notna() | due)
    departed = (off.abs() > rule.within) | missing | unjudged
    plots = plots.assign(off=off)
    total = plots["treatment"].value_counts()
    return timed_rows(rule, plots[departed], total)


def _broken_gaps(
    rule: ProtocolRule, data: SiteData, tables: Mapping[str, pd.DataFrame]
) -> list[tuple[object, ...]]:
    visits = visits_of(rule, data, tables)
    total = visits.groupby("treatment", observed=True)["plot"].nunique()
    gaps = visits.assign(before=visits.groupby("plot", observed=True)["date"].shift())
    gaps = gaps.assign(days=(gaps["date"] - gaps["before"]).dt.days)
    wide = gaps[gaps["days"] > int(rule.every_days or 0) + rule.within]
    rows: list[tuple[object, ...]] = []
    if not data.until.running:
        never = set(_plots(rule.treatments, data)["treatment"]) - set(total.index)
        rows += [no_visit_row(rule, treatment) for treatment in sorted(never)]
    for treatment, of_treatment in wide.groupby("treatment", observed=True):
        ordered = of_treatment.sort_values("before", kind="stable")
        apart = (ordered["before"] >= ordered["date"].cummax().shift()).cumsum()
        rows += [gap_row(rule, str(treatment), g, total) for _, g in ordered.groupby(apart)]
    return rows


def _alike(found: pd.DataFrame, study: Study) -> pd.DataFrame:
    """Give one row with an empty treatment to what every treatment of a rule for all did alike."""
    for_all = {rule.id for rule in study.protocol if not rule.treatments}
    same = ["rule", "planned", "happened", "days"]
    number = found.groupby(same, dropna=False, sort=False)["treatment"].transform("nunique")
    whole = found["rule"].isin(for_all) & (number == len(study.treatments))
    alike = found.assign(treatment=found["treatment"].mask(whole, ""))
    return alike.drop_duplicates().reset_index(drop=True)
