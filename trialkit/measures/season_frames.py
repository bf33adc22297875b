"""Frames behind the figures of a season: counts through time, fruit by grade and cause."""

from collections.abc import Mapping

import pandas as pd

from trialkit import columns
from trialkit.measures.counts import visit_counts
from trialkit.measures.tables import is_blank, plots_of, table_of
from trialkit.measures.yields import picked
from trialkit.study import Study


def curve(study: Study, tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return columns.CURVE: mean count per plant by standing plot, date, organism and stage.

    Every date on record is there, also those after the last complete one. A stage that the sheets
    leave empty is an empty text.
    """
    plots = _standing(tables)
    scouting = table_of(tables, "scouting")
    scouting = scouting[scouting["plot"].isin(plots.index)]
    scouting = scouting.assign(
        stage=scouting["stage"].astype(object).mask(is_blank(scouting["stage"]), "")
    )
    pairs = (
        scouting[["organism", "stage"]]
        .dropna()
        .drop_duplicates()
        .sort_values(["organism", "stage"])
    )
    parts = [
        visit_counts(scouting, plots["plants"], organism, stage).assign(
            organism=organism, stage=stage
        )
        for organism, stage in pairs.itertuples(index=False)
    ]
    if not parts:
        return pd.DataFrame(columns=list(columns.CURVE))
    seen = pd.concat(parts, ignore_index=True).rename(columns={"mean": "mean_count"})
    return seen.join(plots[["block", "treatment"]], on="plot")[list(columns.CURVE)]


def grades(
    study: Study, tables: Mapping[str, pd.DataFrame], until: pd.Timestamp | None = None
) -> pd.DataFrame:
    """Return columns.GRADES: fruit and weight (kg) by standing plot, grade and cull cause.

    ``until`` is the last date that counts (LastComplete.dates["harvest"]; None: all). A cause
    that the sheets leave empty is an empty text. A sum over an empty cell is empty (NaN).
    """
    plots = _standing(tables)
    rows = picked(table_of(tables, "harvest"))
    rows = rows[rows["plot"].isin(plots.index)]
    rows = rows if until is None else rows[rows["date"] <= until]
    cause = rows["cull_cause"].astype(object).mask(is_blank(rows["cull_cause"]), "")
    keys = ["plot", "grade", "cull_cause"]
    by_grade = rows.assign(cull_cause=cause).groupby(keys, observed=True)[["fruit", "weight"]]
    sums = by_grade.sum(skipna=False).reset_index()
    return sums.join(plots[["block", "treatment"]], on="plot")[list(columns.GRADES)]


def _standing(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    plots = plots_of(tables)
    return plots[plots["lost"] == ""].set_index("plot")
