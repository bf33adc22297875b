"""Weather of a site-season: degree-days, rain against the normal, wet and hot days in bloom."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from trialkit.measures.degree_days import simple_average, single_sine
from trialkit.measures.flowering import spans_of
from trialkit.measures.happenings import dates_of
from trialkit.measures.rain import daily_normal
from trialkit.measures.site_data import SiteData, site_data
from trialkit.measures.steady import once_per_tables
from trialkit.measures.weather_words import words_of
from trialkit.study import Study
from trialkit.study.units import to_canonical

# A day with 1 mm of rain or more is a wet day in the climate indices of the World Meteorological
# Organization's expert team (ETCCDI); value from memory.
WET_DAY_MM: Final = 1.0


@dataclass(frozen=True)
class WeatherSummary:
    """Weather of a site-season; sums run over ``first`` to ``last``, bloom over its own dates.

    daily : one row per calendar day, gaps included: date, tmin, tmax (°C), rain, rain_normal (mm),
        degree_days (°C days), counted, in_bloom, wet, hot (true or false).
    gaps  : what ("temperature" or "rain"), first, last, days: stretches of counted days without.
    degree_days    : sum over the counted days that have temperatures, °C days.
    rain           : sum over the counted days that have rain, mm.
    rain_compared, rain_normal : sums over the days that have both rain and a normal, mm.
    wet_days_in_bloom, hot_days_in_bloom : days; NaN where bloom or the cut-off is not on record.
    words : what a reader must know of these numbers.
    """

    first: pd.Timestamp
    last: pd.Timestamp
    bloom_first: pd.Timestamp | None
    bloom_last: pd.Timestamp | None
    degree_days: float
    rain: float
    rain_compared: float
    rain_normal: float
    wet_days_in_bloom: float
    hot_days_in_bloom: float
    daily: pd.DataFrame
    gaps: pd.DataFrame
    words: tuple[str, ...]

    @property
    def rain_departure(self) -> float:
        """Rain above (+) or below (-) the normal of the same days, mm."""
        return self.rain_compared - self.rain_normal

    @property
    def rain_percent_of_normal(self) -> float:
        """Rain in percent of the normal of the same days."""
        normal = self.rain_normal
        return 100.0 * self.rain_compared / normal if normal > 0 else float("nan")


@once_per_tables
def weather_summary(
    study: Study,
    season: int,
    site: str,
    tables: Mapping[str, pd.DataFrame],
    normals: Mapping[int, float] | None = None,
) -> WeatherSummary:
    """Return the weather of a site-season from transplanting to the last date analysed.

    ``normals`` is the usual rain of months 1 to 12 in mm (see :func:`rain_normals`); by default
    that of study.toml, which is typed in the study's unit.
    """
    data = site_data(study, season, site, tables)
    first, last = _period(data)
    bloom = _bloom(data, last)
    known = _normals(study, site) if normals is None else normals
    daily = _daily(data, (first, last), bloom, known)
    counted = daily[daily["counted"]]
    compared = counted.dropna(subset=["rain", "rain_normal"])
    gaps = pd.concat([_gaps(counted, "temperature"), _gaps(counted, "rain")], ignore_index=True)
    return WeatherSummary(
        first=first,
        last=last,
        bloom_first=bloom[0] if bloom else None,
        bloom_last=bloom[1] if bloom else None,
        degree_days=counted["degree_days"].sum(min_count=1),
        rain=counted["rain"].sum(min_count=1),
        rain_compared=compared["rain"].sum(min_count=1),
        rain_normal=compared["rain_normal"].sum(min_count=1),
        wet_days_in_bloom=_days_in_bloom(daily, "wet", "rain"),
        hot_days_in_bloom=_days_in_bloom(daily, "hot", "tmax")
        if _ceiling(study) is not None
        else np.nan,
        daily=daily,
        gaps=gaps,
        words=words_of(data, daily, gaps, first, bloom is not None),
    )


def _period(data: SiteData) -> tuple[pd.Timestamp, pd.Timestamp]:
    season = data.study.season(data.season)
    planted = dates_of(data, "transplanted").min()
    first = pd.Timestamp(season.first_date) if pd.isna(planted) else planted
    reached = [date for date in data.until.dates.values() if date is not None]
    weather = data.weather["date"].max()
    ends = reached or ([] if pd.isna(weather) else [weather])
    return first, max([*ends, first])


def _bloom(data: SiteData, last: pd.Timestamp) -> tuple[pd.Timestamp, pd.Timestamp] | None:
    """First flower of the first plot, to the end of bloom or else to the last date analysed."""
    spans = spans_of(data)
    if spans.empty:
        return None
    start = spans["start"].min()
    end = last if spans["end"].isna().any() else spans["end"].max()
    return start, max(end, start)


def _normals(study: Study, site: str) -> dict[int, float]:
    typed = study.site(site).normal_rain
    return {month: float(to_canonical(r, "rain", study.units)) for month, r in typed.items()}


def _daily(
    data: SiteData,
    period: tuple[pd.Timestamp, pd.Timestamp],
    bloom: tuple[pd.Timestamp, pd.Timestamp] | None,
    normals: Mapping[int, float],
) -> pd.DataFrame:
    table = data.weather.drop_duplicates("date").set_index("date").astype(float)
    days = pd.date_range(
        min([period[0], *table.index]), max([period[1], *table.index]), name="date"
    )
    daily = table.reindex(days)
    daily = daily.assign(
        rain_normal=daily_normal(days, normals),
        degree_days=_degree_days(daily, data.study),
        counted=(days >= period[0]) & (days <= period[1]),
        in_bloom=(days >= bloom[0]) & (days <= bloom[1]) if bloom else False,
        wet=daily["rain"] >= WET_DAY_MM,
        hot=daily["tmax"] > _celsius(_ceiling(data.study), data.study, otherwise=np.inf),
    )
    return daily.reset_index()


def _degree_days(daily: pd.DataFrame, study: Study) -> np.ndarray:
    cut = study.degree_days
    if cut is None:
        return np.full(len(daily), np.nan)
    method = {"average": simple_average, "single_sine": single_sine}[cut.method]
    base = _celsius(cut.base, study)
    ceiling = None if cut.ceiling is None else _celsius(cut.ceiling, study)
    return method(daily["tmin"].to_numpy(), daily["tmax"].to_numpy(), base, ceiling)


def _ceiling(study: Study) -> float | None:
    return study.degree_days.ceiling if study.degree_days else None


def _celsius(typed: float | None, study: Study, otherwise: float = np.nan) -> float:
    return otherwise if typed is None else float(to_canonical(typed, "temperature", study.units))


def _days_in_bloom(daily: pd.DataFrame, what: str, measured: str) -> float:
    days = daily[daily["in_bloom"] & daily[measured].notna()]
    return float(days[what].sum()) if len(days) else float("nan")


def _gaps(counted: pd.DataFrame, what: str) -> pd.DataFrame:
    columns = ["tmin", "tmax"] if what == "temperature" else ["rain"]
    hole = counted[columns].isna().any(axis=1)
    stretch = (hole != hole.shift()).cumsum()[hole]
    dates = counted.loc[hole, "date"].groupby(stretch)
    found = dates.agg(first="min", last="max", days="size").reset_index(drop=True)
    return found.assign(what=what)[["what", "first", "last", "days"]]
