"""The usual sum of degree-days over the same days of a station's earlier years."""

from collections.abc import Callable

import numpy as np
import pandas as pd

from trialkit.measures.rain import AT_LEAST


def usual_degree_days(
    weather: pd.DataFrame,
    first: pd.Timestamp,
    last: pd.Timestamp,
    degree_days: Callable[[pd.DataFrame], np.ndarray],
) -> tuple[float, int]:
    """Return the mean sum over ``first`` to ``last`` in years before, °C days, and how many years.

    ``weather`` has a row a day with date, tmin, tmax (°C). A year counts when both temperatures are
    known on every one of the days (29 February aside); with fewer than ten years the mean is NaN.
    """
    known = weather.dropna(subset=["date", "tmin", "tmax"]).drop_duplicates("date")
    sums = []
    for year in sorted(known["date"].dt.year.unique()):
        shift = first.year - int(year)
        if shift < 1:
            continue
        days = pd.date_range(_moved(first, -shift), _moved(last, -shift))
        own = known[known["date"].isin(days)]
        wanted = days[(days.month != 2) | (days.day != 29)]
        if wanted.isin(own["date"]).all():
            sums.append(float(degree_days(own).sum()))
    return (float(np.mean(sums)) if len(sums) >= AT_LEAST else float("nan")), len(sums)


def _moved(day: pd.Timestamp, years: int) -> pd.Timestamp:
    """The same day of another year; 28 February for a 29th that it does not have."""
    return day + pd.DateOffset(years=years)
