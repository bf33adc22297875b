"""A weather station's daily file in either of NOAA's GHCN-Daily CSV layouts.

By station: one line a day and element, no header needed: station, date (YYYYMMDD), element, value,
measurement flag, quality flag, source flag, time. TMAX and TMIN are tenths of a degree Celsius,
PRCP tenths of a millimetre; -9999 is missing; a quality flag marks a value that failed a check.
Layout: NOAA, GHCN-Daily readme-by_station.txt; units: GHCN-Daily readme.txt, section III.

One line a day: a header with STATION, DATE and elements as columns, some followed by a column
such as PRCP_ATTRIBUTES (measurement, quality and source flag, parted by commas); from memory, as
NOAA's archive of daily summaries writes it. The archive writes tenths, too; a file that was
ordered with units holds degrees and millimetres or inches, and says nowhere which.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.cells import number
from trialkit.intake.grid import Grid, broken_grid
from trialkit.intake.problems import Problem

ELEMENTS: Final = {"TMIN": "tmin", "TMAX": "tmax", "PRCP": "rain"}
METRIC: Final = {"tmin": "degC", "tmax": "degC", "rain": "mm"}
US: Final = {"tmin": "degF", "tmax": "degF", "rain": "in"}
_MISSING: Final = "-9999"
# No place on Earth has been warmer than 56.7 °C = 134 °F (World Meteorological Organization,
# World Weather and Climate Extremes Archive; value from memory).
_HOTTEST_F: Final = 134.0
_HOTTEST_C: Final = 57.0


@dataclass(frozen=True)
class StationFile:
    """Days of the season's year as a grid, in ``units``; ``earlier`` has the years before.

    ``earlier`` has date (datetime64), tmin, tmax, rain, in ``units`` too. Empty ``units`` are the
    study's own.
    """

    grid: Grid
    units: dict[str, str]
    earlier: pd.DataFrame = field(default_factory=pd.DataFrame)


def is_station_file(grid: Grid) -> bool:
    """Say whether a grid has one of the layouts."""
    return _is_long(grid) or _is_wide(grid)


def read_station_file(grid: Grid, year: str) -> StationFile:
    """Return days of one year as rows of date, tmin, tmax, rain; each keeps its first line's row.

    Values with a quality flag are missing, and a note tells how many.
    """
    if _is_long(grid):
        lines, told, tenths, units = _long_lines(grid), [], True, METRIC
    else:
        stations = _wide_column(grid, "STATION").dropna().unique()
        if len(stations) > 1:
            return StationFile(_several(stations), METRIC)
        lines = _wide_lines(grid)
        tenths, units, why = _units_of(lines)
        told = [Problem("station_units", why, _UNITS_REMEDY, severity="note")]
    here = lines[lines["date"].str.startswith(year)]
    days = _days(here, tenths)
    notes = (*grid.problems, *told, *_flagged(here))
    return StationFile(Grid(_as_cells(days), notes), units, _earlier(lines, year, tenths))


def _is_long(grid: Grid) -> bool:
    """Eight columns with element codes in the third."""
    if grid.cells.shape[1] not in (7, 8) or len(grid.cells) < 1 or _is_wide(grid):
        return False
    elements = grid.cells[2].astype("object").iloc[1:] if len(grid.cells) > 1 else grid.cells[2]
    dates = grid.cells[1].astype("object").iloc[-1]
    return bool(elements.isin(list(ELEMENTS)).any()) and len(str(dates)) == 8


def _is_wide(grid: Grid) -> bool:
    names = _header(grid)
    return {"STATION", "DATE"} <= set(names) and bool(set(ELEMENTS) & set(names))


def _header(grid: Grid) -> list[str]:
    if not len(grid.cells):
        return []
    return [str(text).upper() for text in grid.cells.iloc[0].astype("object")]


def _long_lines(grid: Grid) -> pd.DataFrame:
    """One row per day and element: row, date (ISO), element, value (text), failed (a check)."""
    lines = grid.cells.astype("object")
    lines = lines[lines[2].isin(list(ELEMENTS))]
    return pd.DataFrame(
        {
            "row": lines.index,
            "date": lines[1].astype("str").map(_iso),
            "element": lines[2],
            "value": lines[3],
            "failed": lines[5].notna(),
        }
    ).reset_index(drop=True)


def _wide_column(grid: Grid, name: str) -> pd.Series:
    return grid.cells[_header(grid).index(name)].astype("object").iloc[1:]


def _wide_lines(grid: Grid) -> pd.DataFrame:
    names, dates = _header(grid), _wide_column(grid, "DATE").fillna("").astype("str").map(_iso)
    parts = []
    for element in [name for name in ELEMENTS if name in names]:
        flags = f"{element}_ATTRIBUTES"
        told = _wide_column(grid, flags) if flags in names else pd.Series("", index=dates.index)
        parts.append(
            pd.DataFrame(
                {
                    "row": dates.index,
                    "date": dates,
                    "element": element,
                    "value": _wide_column(grid, element),
                    "failed": told.fillna("").astype("str").map(_has_quality_flag),
                }
            )
        )
    return pd.concat(parts, ignore_index=True)


def _has_quality_flag(attributes: str) -> bool:
    """Say whether the second of the flags is set.

    >>> _has_quality_flag(",,W"), _has_quality_flag(",I,W"), _has_quality_flag("")
    (False, True, False)
    """
    return bool("".join(attributes.split(",")[1:2]).strip())


def _sound(lines: pd.DataFrame) -> pd.DataFrame:
    return lines[~lines["failed"] & lines["value"].notna() & (lines["value"] != _MISSING)]


_UNITS_REMEDY: Final = (
    "Nothing needs doing if that is right; else name the file and its units under [intake.weather] "
    "in study.toml"
)


def _units_of(lines: pd.DataFrame) -> tuple[bool, dict[str, str], str]:
    """Whether values are tenths, their units (empty: the study's), and how that was told."""
    sound = _sound(lines)
    whole = not sound["value"].astype("str").str.contains(".", regex=False).any()
    typed = [number(str(text)) for text in sound.loc[sound["element"] == "TMAX", "value"]]
    hottest = max((value for value in typed if value is not None), default=np.nan)
    if np.isnan(hottest) and not whole:
        return False, {}, "rain is read in the study's unit, because the file has no temperature"
    if whole and not hottest <= _HOTTEST_F:
        reason = "whole numbers" + ("" if np.isnan(hottest) else f" up to {hottest:g}")
        return True, METRIC, f"values are read as tenths of °C and mm, because they are {reason}"
    if hottest > _HOTTEST_C:
        reason = f"no place on Earth has had {hottest:g} °C"
        return False, US, f"values are read as °F and inches, because {reason}"
    reason = f"temperatures reach {hottest:g} only"
    return False, METRIC, f"values are read as °C and mm, because {reason}"


def _days(lines: pd.DataFrame, tenths: bool) -> pd.DataFrame:
    """One row per day, indexed by spreadsheet row: date, tmin, tmax, rain as texts."""
    first = lines.groupby("date")["row"].min()
    days = pd.DataFrame({"date": first.index}, index=first.index)
    sound = _sound(lines)
    for element, name in ELEMENTS.items():
        own = sound[sound["element"] == element].drop_duplicates("date").set_index("date")["value"]
        texts = own.map(_tenth) if tenths else own.astype("str")
        days[name] = texts.reindex(days.index)
    return days.set_axis(pd.Index(first.to_numpy(), dtype="int64"), axis=0).sort_index()


def _as_cells(days: pd.DataFrame) -> pd.DataFrame:
    """Days as a sheet with a header in row 0."""
    header = pd.DataFrame([list(days.columns)], index=[0], columns=days.columns)
    body = pd.concat([header, days.astype("object")]).set_axis(range(4), axis=1)
    texts = {at: pd.Categorical(body[at].where(body[at].notna(), None)) for at in body}
    return pd.DataFrame(texts, index=body.index)


def _earlier(lines: pd.DataFrame, year: str, tenths: bool) -> pd.DataFrame:
    """Days of the years before ``year`` as numbers; a value that is none is missing."""
    before = lines[lines["date"].str.match(r"\d{4}-") & (lines["date"].str[:4] < year)]
    days = _days(before, tenths).reset_index(drop=True)
    names = list(ELEMENTS.values())
    numbers = days[names].apply(pd.to_numeric, errors="coerce")
    dates = pd.to_datetime(days["date"], format="%Y-%m-%d", errors="coerce")
    return numbers.assign(date=dates)[["date", *names]].dropna(subset=["date"])


def _iso(day: str) -> str:
    """Return YYYYMMDD with dashes; any other text as it is, to be told later."""
    return f"{day[:4]}-{day[4:6]}-{day[6:]}" if len(day) == 8 and day.isdigit() else day


def _tenth(text: object) -> str:
    """Return a whole number of tenths as a decimal; any other text as it is, to be told later.

    >>> _tenth("-5"), _tenth("123"), _tenth("1x")
    ('-0.5', '12.3', '1x')
    """
    value = number(str(text))
    return str(text) if value is None else f"{value / 10:.1f}"


def _flagged(lines: pd.DataFrame) -> Iterator[Problem]:
    failed = lines[lines["failed"]]
    if len(failed):
        what = f"{len(failed)} values failed the station network's own checks; they were not read"
        remedy = "Nothing needs doing; the report shows the gaps"
        first = f"{remedy}; the first is in row {failed['row'].min()}"
        yield Problem("station_flag", what, first, severity="note")


def _several(stations: np.ndarray) -> Grid:
    what = f"it holds {len(stations)} stations: {', '.join(sorted(map(str, stations))[:5])}"
    return broken_grid("several_stations", what, "Keep the lines of the nearest one")
