"""The weather of a site-season in words: sums, normals, wet and hot days in bloom, with limits."""

from typing import Final

import pandas as pd

from trialkit import measures
from trialkit.intake import SiteSeason
from trialkit.measures import WeatherSummary
from trialkit.narrative.numbers import fixed, with_unit
from trialkit.narrative.tables import Words, inert
from trialkit.report.display import bullets
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

_WET_SOURCE: Final = "1 mm as in the ETCCDI climate indices, value from memory"
_METHODS: Final = {"average": "simple average", "single_sine": "single sine"}


def weather_words(study: Study, data: SiteSeason) -> Words:
    """What the weather came to, and what a reader must know of these numbers."""
    found = weather_of(study, data)
    sums = [] if data.tables["weather"].empty else _sums(study, found)
    return Words(bullets([*sums, *found.words]))


def weather_of(study: Study, data: SiteSeason) -> WeatherSummary:
    """Weather of a site-season, with the earlier years of its station where they are known."""
    place = (study, data.season, data.site, data.tables)
    return measures.weather_summary(*place, data.earlier_weather)


def _sums(study: Study, found: WeatherSummary) -> list[str]:
    return [*_heat(study, found), _rain(study, found), *_bloom(study, found)]


def _heat(study: Study, found: WeatherSummary) -> list[str]:
    cut = study.degree_days
    if cut is None:
        return []
    here = _amount(study, found.degree_days, "degree_days", 0)
    usual = _amount(study, found.degree_days_normal, "degree_days", 0)
    beside = "" if pd.isna(found.degree_days_normal) else f", usual for these days {usual}"
    base, ceiling = (_degrees(study, limit) for limit in (cut.base, cut.ceiling))
    limits = f"base {base}" + (f", ceiling {ceiling}" if ceiling else "")
    return [
        f"Degree-days from {_day(found.first)} to {_day(found.last)}: {here}{beside} ({limits}, "
        f"{_METHODS[cut.method]}; {inert(cut.source)})."
    ]


def _rain(study: Study, found: WeatherSummary) -> str:
    here, usual = (_amount(study, mm, "rain", 1) for mm in (found.rain, found.rain_normal))
    told = f"Rain from {_day(found.first)} to {_day(found.last)}: {here}"
    percent = found.rain_percent_of_normal
    if pd.isna(percent):
        return f"{told}; no normal is known for these days."
    compared = _amount(study, found.rain_compared, "rain", 1)
    days = "" if compared == here else f"; on the days that have a normal, {compared}"
    source = "earlier years of the station" if found.normal_years else "study.toml"
    share = with_unit(fixed(percent, 0), "%")
    return f"{told}{days}, which is {share} of the normal {usual} (from {source})."


def _bloom(study: Study, found: WeatherSummary) -> list[str]:
    if found.bloom_first is None or found.bloom_last is None:
        return []
    limits, hot = study.weather_limits, measures.hot_limit(study)
    least = _amount(study, measures.wet_limit(study), "rain", 2)
    wet = f"{_days(found.wet_days_in_bloom, 'wet')} ({least} of rain or more)"
    above = _degrees(study, hot)
    both = f"{wet} and {_days(found.hot_days_in_bloom, 'hot')} (above {above})" if above else wet
    source = inert(limits.source) or _WET_SOURCE
    if hot is not None and limits.hot_day is None:
        source += "; hot: the ceiling of the degree-days"
    span = f"{_day(found.bloom_first)} to {_day(found.bloom_last)}"
    return [f"In bloom, {span}: {both}. Source of the limits: {source}."]


def _day(date: pd.Timestamp) -> str:
    return f"{date:%Y-%m-%d}"


def _degrees(study: Study, typed: float | None) -> str:
    return "" if typed is None else with_unit(f"{typed:g}", unit_label("temperature", study.units))


def _amount(study: Study, value: float, quantity: str, decimals: int) -> str:
    if pd.isna(value):
        return "not known"
    unit = unit_label(quantity, study.units)
    return with_unit(fixed(float(to_display(value, quantity, study.units)), decimals), unit)


def _days(number: float, kind: str) -> str:
    if pd.isna(number):
        return f"{kind} days not known"
    return f"{number:.0f} {kind} day" + ("" if number == 1 else "s")
