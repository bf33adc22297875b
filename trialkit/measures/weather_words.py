"""What a reader must know of the weather's numbers: gaps, starts, cut-offs, missing normals."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from trialkit.measures.happenings import dates_of
from trialkit.measures.rain import AT_LEAST
from trialkit.measures.site_data import SiteData

_MOST_GAPS: Final = 4
# A climatological standard normal is the mean of thirty years: World Meteorological Organization,
# Guidelines on the Calculation of Climate Normals, WMO-No. 1203 (2017); value from memory.
_NORMAL_YEARS: Final = 30


@dataclass(frozen=True)
class Usual:
    """What is usual at a place: rain by month (mm), degree-days of the same days (°C days).

    ``rain_years`` and ``heat_years`` say how many earlier years of the same station stand behind
    them (rain: of the month that has fewest).
    """

    rain: Mapping[int, float]
    from_station: bool = False
    rain_years: int = 0
    degree_days: float = float("nan")
    heat_years: int = 0


def usual_words(usual: Usual) -> tuple[str, ...]:
    """Say where normals of the station come from, and that fewer than thirty years are few."""
    said = []
    if usual.from_station and usual.rain:
        said.append(
            f"The normal rain is the mean of {usual.rain_years} or more earlier years of the same "
            f"station{_few(usual.rain_years)}."
        )
    elif usual.from_station:
        said.append(
            f"The station's file has fewer than {AT_LEAST} whole earlier years, too few for a "
            "normal."
        )
    if usual.degree_days == usual.degree_days:
        said.append(
            f"The usual degree-days are the mean of {usual.heat_years} earlier years of the same "
            f"station{_few(usual.heat_years)}."
        )
    return tuple(said)


def _few(years: int) -> str:
    return f"; a climatological normal takes {_NORMAL_YEARS}" if years < _NORMAL_YEARS else ""


def words_of(
    data: SiteData,
    daily: pd.DataFrame,
    gaps: pd.DataFrame,
    first: pd.Timestamp,
    blooms: bool,
) -> tuple[str, ...]:
    """Return short sentences on a site-season's weather summary, the weightiest first."""
    if data.weather.empty:
        return ("There is no weather on record for this site and season.",)
    said = [
        *_start(data, first),
        *(
            _gap(w, daily, gaps[gaps["what"] == w])
            for w in ("temperature", "rain")
            if (gaps["what"] == w).any()
        ),
        *_normal(daily),
        *_cut_offs(data),
    ]
    if not blooms:
        said.append("No first bloom is on record, so days in bloom are not counted.")
    return tuple(said)


def _start(data: SiteData, first: pd.Timestamp) -> list[str]:
    if dates_of(data, "transplanted").notna().any():
        return []
    return [
        f"No transplanting is on record; sums begin on {first:%Y-%m-%d}, the season's first day."
    ]


def _gap(what: str, daily: pd.DataFrame, gaps: pd.DataFrame) -> str:
    counted = daily[daily["counted"]]
    columns = ["tmin", "tmax"] if what == "temperature" else ["rain"]
    missing = int(counted[columns].isna().any(axis=1).sum())
    sums = "degree-days" if what == "temperature" else "rain"
    return (
        f"No {what} is on record for {missing} of {len(counted)} days ({_stretches(gaps)}); "
        f"the sum of {sums} leaves these days out and is too low."
    )


def _stretches(gaps: pd.DataFrame) -> str:
    """The first stretches with their dates, and how many more there are."""
    said = [
        f"{first:%Y-%m-%d}" if first == last else f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
        for first, last in zip(gaps["first"], gaps["last"], strict=True)
    ]
    more = len(said) - _MOST_GAPS
    return ", ".join([*said[:_MOST_GAPS], *([f"and {more} more"] if more > 0 else [])])


def _normal(daily: pd.DataFrame) -> list[str]:
    counted = daily[daily["counted"]]
    bare = counted.loc[counted["rain_normal"].isna(), "date"].dt.strftime("%B").unique()
    if not len(bare):
        return []
    return [f"No normal rain is declared for {', '.join(bare)}; these days are not compared."]


def _cut_offs(data: SiteData) -> list[str]:
    if data.study.degree_days is None:
        return ["study.toml declares no [degree_days], so degree-days are not summed."]
    return []
