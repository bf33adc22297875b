"""Scores and temperatures far from their neighbours."""

from collections.abc import Iterator, Mapping

import pandas as pd

from trialkit.intake.problems import Problem, rows_where


def scores_off(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A score far above or far below those of the same plot at the visits before and after."""
    rows = tables["ratings"].sort_values("date")
    of_plot = rows.groupby(["what", "plot"])["score"]
    before, after = of_plot.shift(1), of_plot.shift(-1)
    above = rows["score"] - pd.concat([before, after], axis=1).max(axis=1)
    below = pd.concat([before, after], axis=1).min(axis=1) - rows["score"]
    off = pd.concat([above, below], axis=1).max(axis=1).where(before.notna() & after.notna())
    span = rows["score"].groupby(rows["what"]).transform(lambda scores: scores.quantile(0.95))
    odd = off > 0.35 * span.clip(lower=2.0)
    if odd.any():
        words = [
            f"'{{value}}' stands between {first:g} and {last:g} of this plot before and after"
            for first, last in zip(before[odd], after[odd], strict=True)
        ]
        remedy = "Look at the field sheet for the decimal point, and at the plot if it stands"
        rule = Problem("score_far_off", words, remedy, rows_where(odd), "score", "question")
        yield "ratings", rule


def temperatures_off(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A temperature far from the fortnight around it, or more rain in a day than falls in one."""
    rows = tables["weather"].sort_values("date")
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
