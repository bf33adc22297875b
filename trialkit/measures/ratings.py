"""Measures of what was scored by eye: area under the damage curve, score at the end."""

import pandas as pd

from trialkit.measures.coverage import Coverage, coverage
from trialkit.measures.curves import areas_by_plot
from trialkit.measures.result import leave_out, note, result, without_value
from trialkit.measures.site_data import SiteData
from trialkit.study import Measure


def damage_curve(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Area under the mean score over the plot's own dates, in score-days (Shaner & Finney 1977)."""
    seen = coverage(_visit_scores(measure, data, "mean"), "scored", at_least=2)
    return _covered(result(data, value=areas_by_plot(seen.visits, "score")), measure, data, seen)


def final_score(measure: Measure, data: SiteData) -> pd.DataFrame:
    """Score of the plot's last visit at the season's end: the median where several were given."""
    seen = coverage(_visit_scores(measure, data, "median"), "scored")
    last = seen.visits.sort_values("date").drop_duplicates("plot", keep="last")
    frame = result(data, value=last.set_index("plot")["score"])
    return _covered(frame, measure, data, seen)


def _visit_scores(measure: Measure, data: SiteData, summary: str) -> pd.DataFrame:
    rows = data.ratings[data.ratings["what"] == measure.rating]
    rows = rows.assign(score=pd.to_numeric(rows["score"])).dropna(subset=["score"])
    return rows.groupby(["plot", "date"], observed=True)["score"].agg(summary).reset_index()


def _covered(frame: pd.DataFrame, measure: Measure, data: SiteData, seen: Coverage) -> pd.DataFrame:
    frame = leave_out(frame, seen.left_out.index, seen.left_out)
    frame = note(frame, seen.notes.index, seen.notes)
    name = next(rating.name for rating in data.study.ratings if rating.id == measure.rating)
    waiting = data.until.running and data.until.dates.get("ratings", 0) is None
    words = "no complete round of scores yet" if waiting else f"never scored for {name}"
    return leave_out(frame, without_value(frame), words)
