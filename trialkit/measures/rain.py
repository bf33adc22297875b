"""The usual rain of a site: month by month, spread over days, or from a station's earlier years."""

from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

AT_LEAST: Final = 10  # years; common practice, no source. A climatological normal takes thirty.


def daily_normal(days: pd.DatetimeIndex, normals: Mapping[int, float]) -> np.ndarray:
    """Return the normal rain of each day in mm: its month's normal over the days of the month.

    So a part of a month counts pro rata. A month without a normal gives NaN.
    """
    month = pd.Series(days.month).map(dict(normals)).to_numpy(dtype=float)
    return month / days.days_in_month.to_numpy()


def rain_normals(weather: pd.DataFrame, before: int, at_least: int = AT_LEAST) -> dict[int, float]:
    """Return the mean rain of each month in mm over the whole months of years before ``before``.

    ``weather`` has a row a day with date (datetime64) and rain (mm). A month of a year counts only
    when rain is known for every day of it, and a month of the calendar only when ``at_least``
    years have it (ten: common practice, no source; a climatological normal takes thirty).
    """
    by_month = _whole_months(weather, before).groupby("month")["sum"].agg(["mean", "size"])
    usable = by_month[by_month["size"] >= at_least]["mean"]
    return {int(str(month)): float(rain) for month, rain in usable.items()}


def rain_years(weather: pd.DataFrame, before: int) -> dict[int, int]:
    """Return in how many years before ``before`` the rain of each month is known for every day."""
    return {
        int(str(month)): int(years)
        for month, years in _whole_months(weather, before).groupby("month").size().items()
    }


def _whole_months(weather: pd.DataFrame, before: int) -> pd.DataFrame:
    known = weather.dropna(subset=["date", "rain"]).drop_duplicates("date")
    known = known[known["date"].dt.year < before]
    date = known["date"].dt
    months = known.groupby([date.year.rename("year"), date.month.rename("month")])["rain"]
    sums = months.agg(["sum", "size"]).reset_index()
    first = pd.to_datetime(sums[["year", "month"]].assign(day=1))
    return sums[sums["size"] == first.dt.days_in_month]
