"""Weather of a site-season: degree-days, rain against the normal, wet and hot days in bloom."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from trialkit.measures.degree_days import simple_average, single_sine
from trialkit.measures.flowering import spans_of
from trialkit.measures.happenings import dates_of
from trialkit.measures.rain import daily_normal, rain_normals, rain_years
from trialkit.measures.site_data import SiteData, site_data
from trialkit.measures.steady import once_per_tables
from trialkit.measures.usual_heat import usual_degree_days
from trialkit.measures.weather_words import Usual, usual_words, words_of
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
    degree_days_normal : the usual sum of the same days, °C days; NaN where it is not known.
    normal_years : years of the same station behind the normal rain; 0 where study.toml states it.
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
    degree_days_normal: float = float("nan")
    normal_years: int = 0

    @property
    def degree_days_departure(self) -> float:
        """Degree-days above (+) or below (-) the usual sum of the same days, °C days."""
        return self.degree_days - self.degree_days_normal

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
    earlier: pd.DataFrame | None = None,
) -> WeatherSummary:
    """Return the weather of a site-season from transplanting to the last date analysed.

    The normal rain is that of study.toml; where it states none, it comes from ``earlier``, the days
    of the same station in earlier years (date, tmin, tmax in °C, rain in mm), as the usual sum of
    degree-days does (see :func:`rain_normals`, :func:`usual_degree_days`).
    """
    data = site_data(study, season, site, tables)
    first, last = _period(data)
    bloom = _bloom(data, last)
    usual = _usual(data, first, last, earlier)
    daily = _daily(data, (first, last), bloom, usual.rain)
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
        if hot_limit(study) is not None
        else np.nan,
        daily=daily,
        gaps=gaps,
        words=(*words_of(data, daily, gaps, first, bloom is not None), *usual_words(usual)),
        degree_days_normal=usual.degree_days,
        normal_years=usual.rain_years if usual.from_station else 0,
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


def _usual(
    data: SiteData, first: pd.Timestamp, last: pd.Timestamp, earlier: pd.DataFrame | None
) -> Usual:
    study = data.study
    typed = {
        month: float(to_canonical(rain, "rain", study.units))
        for month, rain in study.site(data.site).normal_rain.items()
    }
    if earlier is None or earlier.empty:
        return Usual(typed)
    heat, heat_years = usual_degree_days(earlier, first, last, lambda d: _degree_days(d, study))
    if typed:
        return Usual(typed, degree_days=heat, heat_years=heat_years)
    months = set(pd.date_range(first, last).month)
    years = rain_years(earlier, data.season)
    return Usual(
        rain_normals(earlier, data.season),
        from_station=True,
        rain_years=min((years.get(month, 0) for month in months), default=0),
        degree_days=heat,
        heat_years=heat_years,
    )


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
        wet=daily["rain"] >= wet_limit(data.study),
        hot=daily["tmax"] > _celsius(hot_limit(data.study), data.study, otherwise=np.inf),
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


def wet_limit(study: Study) -> float:
    """Least rain of a wet day, mm."""
    typed = study.weather_limits.wet_day
    return WET_DAY_MM if typed is None else float(to_canonical(typed, "rain", study.units))


def hot_limit(study: Study) -> float | None:
    """Temperature that a hot day is above, in the study's own unit; None where none is declared."""
    ceiling = study.degree_days.ceiling if study.degree_days else None
    return ceiling if study.weather_limits.hot_day is None else study.weather_limits.hot_day


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
