"""A weather station's daily file in NOAA's GHCN-Daily by-station CSV layout.

One line a day and element, no header needed: station, date (YYYYMMDD), element, value,
measurement flag, quality flag, source flag, time. TMAX and TMIN are tenths of a degree Celsius,
PRCP tenths of a millimetre; -9999 is missing; a quality flag marks a value that failed a check.
Layout: NOAA, GHCN-Daily readme-by_station.txt; units: GHCN-Daily readme.txt, section III.
"""

from collections.abc import Iterable
from typing import Final

import pandas as pd

from trialkit.intake.cells import number
from trialkit.intake.grid import Grid
from trialkit.intake.problems import Problem

ELEMENTS: Final = {"TMIN": "tmin", "TMAX": "tmax", "PRCP": "rain"}
UNITS: Final = {"tmin": "degC", "tmax": "degC", "rain": "mm"}
_MISSING: Final = "-9999"


def is_station_file(grid: Grid) -> bool:
    """Say whether a grid has the layout: eight columns with element codes in the third."""
    if grid.cells.shape[1] not in (7, 8) or len(grid.cells) < 1:
        return False
    elements = grid.cells[2].astype("object").iloc[1:] if len(grid.cells) > 1 else grid.cells[2]
    dates = grid.cells[1].astype("object").iloc[-1]
    return bool(elements.isin(list(ELEMENTS)).any()) and len(str(dates)) == 8


def tidy_station_file(grid: Grid, year: str) -> Grid:
    """Return days of one year as rows of date, tmin, tmax, rain; each keeps its first line's row.

    Values with a quality flag are missing, and a note tells how many.
    """
    lines = grid.cells.astype("object")
    lines = lines[lines[2].isin(list(ELEMENTS)) & lines[1].astype("str").str.startswith(year)]
    lines = lines.assign(row=lines.index)
    failed = lines[5].notna()
    sound = lines[~failed & (lines[3] != _MISSING)]
    first = lines.groupby(1)["row"].min()
    days = pd.DataFrame({"date": [_iso(str(day)) for day in first.index]}, index=first.index)
    for element, name in ELEMENTS.items():
        values = sound[sound[2] == element].drop_duplicates(1).set_index(1)[3]
        days[name] = values.map(_tenth).reindex(days.index)
    cells = days.set_axis(pd.Index(first.to_numpy(), dtype="int64"), axis=0).sort_index()
    header = pd.DataFrame([list(cells.columns)], index=[0], columns=cells.columns)
    body = pd.concat([header, cells.astype("object")]).set_axis(range(4), axis=1)
    texts = {at: pd.Categorical(body[at].where(body[at].notna(), None)) for at in body}
    notes = tuple(_flagged(int(failed.sum()), lines.index[failed]))
    return Grid(pd.DataFrame(texts, index=body.index), (*grid.problems, *notes))


def _iso(day: str) -> str:
    return f"{day[:4]}-{day[4:6]}-{day[6:]}"


def _tenth(text: str) -> str:
    """Return a whole number of tenths as a decimal; any other text as it is, to be told later.

    >>> _tenth("-5"), _tenth("123"), _tenth("1x")
    ('-0.5', '12.3', '1x')
    """
    value = number(str(text))
    return str(text) if value is None else f"{value / 10:.1f}"


def _flagged(count: int, rows: Iterable[int]) -> list[Problem]:
    if not count:
        return []
    what = f"{count} values failed the station network's own checks; they were not read"
    remedy = "Nothing needs doing; the report shows the gaps"
    return [
        Problem("station_flag", what, f"{remedy}; the first is in row {min(rows)}", severity="note")
    ]
