"""Rules on dates: within the season, and not with day and month changed over."""

import datetime as dt
from collections.abc import Iterator

import numpy as np
import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.context import Context
from trialkit.intake.dates import swapped
from trialkit.intake.problems import Problem, rows_where
from trialkit.study import Season


def _days(dates: pd.Series) -> dict[dt.date, int]:
    """Return every day that occurs, and in how many rows."""
    codes, found = pd.factorize(dates.to_numpy())
    days = found.astype("datetime64[D]").tolist()
    return dict(
        zip(days, np.bincount(codes[codes >= 0], minlength=len(days)).tolist(), strict=True)
    )


def dates_in_season(typed: Typed, context: Context) -> Iterator[Problem]:
    """Dates lie within the season; a swap of day and month that would mend it is named."""
    season = context.season
    if season is None:
        return
    dates = typed.frame["date"]
    if all(season.first_date <= day <= season.last_date for day in _days(dates)):
        return
    first, last = pd.Timestamp(season.first_date), pd.Timestamp(season.last_date)
    outside = (dates < first) | (dates > last)
    mended = {day: _swap_into(day.date(), season) for day in dates[outside].unique()}
    could_swap = outside & dates.map(lambda day: mended.get(day) is not None)
    if could_swap.any():
        yield Problem(
            "swapped_date",
            "'{value}' is out of season; day and month look changed over",
            [f"Type {mended[day]} if that is meant" for day in dates[could_swap]],
            rows_where(could_swap),
            "date",
        )
    if (outside & ~could_swap).any():
        yield Problem(
            "out_of_season",
            f"'{{value}}' is outside the season {season.first_date} to {season.last_date}",
            "Mend the date, or widen the season in study.toml",
            rows_where(outside & ~could_swap),
            "date",
        )


def _swap_into(date: dt.date, season: Season) -> dt.date | None:
    other = swapped(date)
    inside = other is not None and season.first_date <= other <= season.last_date
    return other if inside else None


def lonely_dates(typed: Typed, context: Context) -> Iterator[Problem]:
    """A few rows of a date whose swap is the date of many others are asked about."""
    season, days, suspects = context.season, _days(typed.frame["date"]), {}
    for day, rows in days.items():
        other = swapped(day)
        inside = season is None or season.first_date <= day <= season.last_date
        if inside and other and days.get(other, 0) >= 3 * rows:
            suspects[pd.Timestamp(day)] = (other, days[other])
    if suspects:
        mask = typed.frame["date"].isin(list(suspects))
        found = [suspects[day] for day in typed.frame["date"][mask]]
        yield Problem(
            "swapped_date",
            [f"'{{value}}' stands nearly alone, and {n} rows have {day}" for day, n in found],
            [f"Look whether day and month were changed over: {day}" for day, _ in found],
            rows_where(mask),
            "date",
            "question",
        )


def weather_in_year(typed: Typed, context: Context) -> Iterator[Problem]:
    """Weather may reach beyond the season, but not beyond its year."""
    season, dates = context.season, typed.frame["date"]
    if season is None:
        return
    years = (season.first_date.year, season.last_date.year)
    if not all(years[0] <= day.year <= years[1] for day in _days(dates)):
        outside = dates.notna() & ~dates.dt.year.between(*years)
        yield Problem(
            "out_of_season",
            f"'{{value}}' is not in the year of the season {season.year}",
            "Mend the date, or put the row into its own season",
            rows_where(outside),
            "date",
        )
