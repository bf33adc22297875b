"""Scores and temperatures far from their neighbours."""

from collections.abc import Iterator

import numpy as np

from trialkit.intake.problems import Problem, rows_where
from trialkit.intake.suspicion.rows import Rows, Tables


def scores_off(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """A score far above or far below those of the same plot at the visits before and after."""
    rows = tables["ratings"]
    score, (what, _) = rows.values("score"), rows.words("what")
    before, after = _beside(rows)
    above, below = score - np.maximum(before, after), np.minimum(before, after) - score
    odd = np.maximum(above, below) > 0.35 * np.maximum(_high(score, what), 2.0)
    if odd.any():
        words = [
            f"'{{value}}' stands between {first:g} and {last:g} of this plot before and after"
            for first, last in zip(before[odd], after[odd], strict=True)
        ]
        remedy = "Look at the field sheet for the decimal point, and at the plot if it stands"
        rule = Problem("score_far_off", words, remedy, rows.at(odd), "score", "question")
        yield "ratings", rule


def _beside(rows: Rows) -> tuple[np.ndarray, np.ndarray]:
    """For each row, the scores of the same thing in the same plot before and after it."""
    (what, _), (plot, plots) = rows.words("what"), rows.words("plot")
    series = what * len(plots) + plot
    by_date = rows.frame["date"].array.argsort()
    order = by_date[np.argsort(series[by_date], kind="stable")]
    score = rows.values("score")[order]
    follows = series[order][1:] == series[order][:-1]
    before, after = np.full((2, len(rows)), np.nan)
    before[order[1:][follows]] = score[:-1][follows]
    after[order[:-1][follows]] = score[1:][follows]
    return before, after


def _high(score: np.ndarray, what: np.ndarray) -> np.ndarray:
    """For each row, the score that one in twenty of the same thing passes."""
    high = np.full(len(score), np.nan)
    for one in np.unique(what):
        high[what == one] = np.percentile(score[what == one], 95.0)
    return high


def temperatures_off(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """A temperature far from the fortnight around it, or more rain in a day than falls in one."""
    rows = tables["weather"].frame.sort_values("date")
    for name in ("tmin", "tmax"):
        off = rows[name] - rows[name].rolling(15, center=True, min_periods=5).median()
        spread = max(1.4826 * float(off.abs().median()), 2.0) if off.notna().any() else 2.0
        odd = off.abs() > max(5 * spread, 15.0)
        if odd.any():
            words = [
                f"'{{value}}' is {value:+.0f} °C beside the days around it" for value in off[odd]
            ]
            remedy = "Look at the thermometer's record, and at the unit of that day"
            yield (
                "weather",
                Problem("temperature_off", words, remedy, rows_where(odd), name, "question"),
            )
    wet = rows["rain"] > 200
    if wet.any():
        words = [f"'{{value}}' is {value:.0f} mm of rain in a day" for value in rows["rain"][wet]]
        remedy = "Look at the gauge's record, and at the unit of that day"
        yield "weather", Problem("rain_off", words, remedy, rows_where(wet), "rain", "question")
