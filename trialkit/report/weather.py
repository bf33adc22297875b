"""The weather of a site-season in a table: sums, normals, wet and hot days in bloom."""

from typing import Final

import pandas as pd

from trialkit import measures
from trialkit.intake import SiteSeason
from trialkit.measures import WeatherSummary
from trialkit.narrative.numbers import fixed, with_unit
from trialkit.narrative.tables import Column, Table, Words, inert
from trialkit.report.display import Part, bullets
from trialkit.study import Study
from trialkit.study.units import to_display, unit_label

_WET_SOURCE: Final = "1 mm as in the ETCCDI climate indices, value from memory"
_METHODS: Final = {"average": "simple average", "single_sine": "single sine"}


def weather_parts(study: Study, data: SiteSeason) -> tuple[Part, ...]:
    """Table of the season's weather, and what a reader must know of it."""
    found = weather_of(study, data)
    words = Words(bullets([inert(text) for text in found.words]))
    parts: tuple[Part, ...] = (words,) if found.words else ()
    return parts if data.tables["weather"].empty else (_table(study, found), *parts)


def weather_of(study: Study, data: SiteSeason) -> WeatherSummary:
    """Weather of a site-season, with the earlier years of its station where they are known."""
    return measures.weather_summary(
        study, data.season, data.site, data.tables, data.earlier_weather
    )


def _table(study: Study, found: WeatherSummary) -> Table:
    rows = [*_heat(study, found), *_rain(study, found), *_bloom(study, found)]
    span = f"{found.first:%Y-%m-%d} to {found.last:%Y-%m-%d}"
    heads = [Column("What"), Column("Here"), Column("Usual"), Column("Cut-off and source")]
    return Table.of(f"Weather, {span}", heads, rows)


Row = tuple[str, str, str, str]


def _heat(study: Study, found: WeatherSummary) -> list[Row]:
    cut = study.degree_days
    if cut is None:
        return []
    unit = unit_label("temperature", study.units)
    ceiling = "" if cut.ceiling is None else f", ceiling {with_unit(f'{cut.ceiling:g}', unit)}"
    limits = f"base {with_unit(f'{cut.base:g}', unit)}{ceiling}; {_METHODS[cut.method]}"
    usual = _amount(study, found.degree_days_normal, "degree_days", 0)
    here = _amount(study, found.degree_days, "degree_days", 0)
    return [("Degree-days", here, usual, f"{limits} ({cut.source})")]


def _rain(study: Study, found: WeatherSummary) -> list[Row]:
    here, usual = (_amount(study, mm, "rain", 1) for mm in (found.rain, found.rain_normal))
    percent = found.rain_percent_of_normal
    if not pd.isna(percent):
        compared = _amount(study, found.rain_compared, "rain", 1)
        of = f"{compared} is {with_unit(fixed(percent, 0), '%')} of it"
        usual = f"{usual} ({of})"
    source = "same station, earlier years" if found.normal_years else "study.toml"
    return [("Rain", here, usual, f"normal from: {source}" if not pd.isna(percent) else "")]


def _bloom(study: Study, found: WeatherSummary) -> list[Row]:
    if found.bloom_first is None or found.bloom_last is None:
        return []
    limits, span = study.weather_limits, f"{found.bloom_first:%m-%d} to {found.bloom_last:%m-%d}"
    wet = _amount(study, measures.wet_limit(study), "rain", 2)
    wet_source = _WET_SOURCE if limits.wet_day is None else limits.source
    rows = [(f"Wet days in bloom, {span}", _days(found.wet_days_in_bloom), "",
             f"{wet} of rain or more ({wet_source})")]  # fmt: skip
    hot = measures.hot_limit(study)
    if hot is None:
        return rows
    above = with_unit(f"{hot:g}", unit_label("temperature", study.units))
    source = study.degree_days.source if study.degree_days else ""
    own = limits.source if limits.hot_day is not None else f"ceiling of the degree-days; {source}"
    text = f"above {above} ({own})"
    return [*rows, (f"Hot days in bloom, {span}", _days(found.hot_days_in_bloom), "", text)]


def _amount(study: Study, value: float, quantity: str, decimals: int) -> str:
    if pd.isna(value):
        return "not known"
    unit = unit_label(quantity, study.units)
    return with_unit(fixed(float(to_display(value, quantity, study.units)), decimals), unit)


def _days(number: float) -> str:
    return "not known" if pd.isna(number) else f"{number:.0f}"
