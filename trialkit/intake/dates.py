"""Dates as typed: ISO is read, a date with two readings is asked about, never guessed."""

import datetime as dt
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from trialkit.study import Season

_ISO: Final = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})", re.ASCII)
_STAMP: Final = re.compile(
    r"(\d{4})-(\d{1,2})-(\d{1,2})[T ]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?", re.ASCII
)
_YEAR_FIRST: Final = re.compile(r"(\d{4})(?:[/.]|(?=\d{4}$))(\d{1,2})(?:[/.]|)(\d{2}|\d)", re.ASCII)
_YEAR_LAST: Final = re.compile(r"(\d{1,2})([/.\- ])\s*(\d{1,2})\2\s*(\d{4})", re.ASCII)
_SHORT_YEAR: Final = re.compile(r"(\d{1,2})[/.\-](\d{1,2})[/.\-](\d{2})", re.ASCII)
_SERIAL: Final = re.compile(r"[345]\d{4}(\.\d+)?", re.ASCII)
_NAMED: Final = ("%d-%b-%Y", "%d %b %Y", "%d %B %Y", "%B %d, %Y", "%b %d, %Y", "%d. %B %Y")
_YEARS: Final = range(1900, 2201)  # those that a season can have
_TYPE_ISO: Final = "Type it as year-month-day, such as 2026-05-31"


@dataclass(frozen=True)
class DateReading:
    """What one typed text says: a date, or the code, what and remedy of why it says none.

    ``other_form`` marks a date that is plain but not written year-month-day.
    """

    date: dt.date | None
    code: str = ""
    what: str = ""
    remedy: str = ""
    other_form: bool = False


def read_dates(texts: Sequence[str], season: Season | None) -> list[DateReading]:
    """Read each text on its own; ``season`` and the other texts only help to word a remedy."""
    readings = [_read(text) for text in texts]
    certain = [reading.date for reading in readings if reading.date]
    day_first = [_puts_day_first(text) for text in texts]
    return [
        reading or DateReading(None)
        if reading.code != "ambiguous_date"
        else _asked(text, season, certain, day_first)
        for text, reading in zip(texts, readings, strict=True)
    ]


def swapped(date: dt.date) -> dt.date | None:
    """Return the date with day and month changed over, where there is another such date.

    >>> swapped(dt.date(2026, 3, 6))
    datetime.date(2026, 6, 3)
    >>> swapped(dt.date(2026, 3, 16)) is None
    True
    """
    if date.day > 12 or date.day == date.month:
        return None
    return dt.date(date.year, date.day, date.month)


@lru_cache(maxsize=8192)
def _read(text: str) -> DateReading:
    reading = _as_written(text)
    if reading.date is None or reading.date.year in _YEARS:
        return reading
    what = f"'{text}' is a day of the year {reading.date.year}"
    return DateReading(None, "impossible_date", what, f"{_TYPE_ISO}; look at the field sheet")


def _as_written(text: str) -> DateReading:
    iso = _ISO.fullmatch(text)
    if iso:
        return _from_parts(text, *iso.groups(), other_form=False)
    stamp = _STAMP.fullmatch(text) or _YEAR_FIRST.fullmatch(text)
    if stamp:
        return _from_parts(text, *stamp.groups()[:3], other_form=True)
    slashed = _YEAR_LAST.fullmatch(text)
    if slashed:
        return _year_last(text, int(slashed[1]), int(slashed[3]), int(slashed[4]))
    return _unusual(text)


def _from_parts(text: str, year: str, month: str, day: str, *, other_form: bool) -> DateReading:
    date = _date(int(year), int(month), int(day))
    return DateReading(date, other_form=other_form) if date else _impossible(text)


def _date(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def _impossible(text: str) -> DateReading:
    what = f"there is no such date as '{text}'"
    return DateReading(None, "impossible_date", what, f"{_TYPE_ISO}; look at the field sheet")


def _year_last(text: str, first: int, second: int, year: int) -> DateReading:
    found = {date for date in (_date(year, first, second), _date(year, second, first)) if date}
    if not found:
        return _impossible(text)
    if len(found) == 1:
        return DateReading(found.pop(), other_form=True)
    return DateReading(None, "ambiguous_date")


def _unusual(text: str) -> DateReading:
    for form in _NAMED:
        try:
            return DateReading(dt.datetime.strptime(text, form).date(), other_form=True)
        except ValueError:
            continue
    if _SHORT_YEAR.fullmatch(text):
        what = f"'{text}' gives the year with two digits and can be read in several ways"
        return DateReading(None, "ambiguous_date", what, _TYPE_ISO)
    if _SERIAL.fullmatch(text):
        day = dt.date(1899, 12, 30) + dt.timedelta(days=int(float(text)))
        what = f"'{text}' is a spreadsheet's day number, not a date"
        return DateReading(None, "not_a_date", what, f"Type {day} if that is meant")
    return DateReading(None, "not_a_date", f"'{text}' is not a date", _TYPE_ISO)


def readings_of(text: str) -> tuple[dt.date, ...]:
    """Return every date that a text such as 05/06/2026 can mean, day first and month first."""
    slashed = _YEAR_LAST.fullmatch(text)
    if not slashed:
        return ()
    first, second, year = int(slashed[1]), int(slashed[3]), int(slashed[4])
    found = (_date(year, second, first), _date(year, first, second))
    return tuple(dict.fromkeys(date for date in found if date))


def one_order(text: str, order: str | None) -> str:
    """Return a date written day first or month first as year-month-day; any other text as it is.

    A year of two digits is one of this century.

    >>> one_order("5/6/2026", "day_first"), one_order("5/6/26", "month_first")
    ('2026-06-05', '2026-05-06')
    """
    found = _YEAR_LAST.fullmatch(text) or _SHORT_YEAR.fullmatch(text)
    if not found or order is None:
        return text
    first, second, year = (int(part) for part in found.groups() if part.strip().isdigit())
    day, month = (first, second) if order == "day_first" else (second, first)
    date = _date(year + 2000 if year < 100 else year, month, day)
    return date.isoformat() if date else text


def _puts_day_first(text: str) -> bool | None:
    """True or False where a year-last text can put the day (or the month) first only."""
    slashed = _YEAR_LAST.fullmatch(text)
    if not slashed or (int(slashed[1]) > 12) == (int(slashed[3]) > 12):
        return None
    return int(slashed[1]) > 12


def _asked(
    text: str, season: Season | None, certain: list[dt.date], day_first: list[bool | None]
) -> DateReading:
    slashed = _YEAR_LAST.fullmatch(text)
    if slashed is None:
        return _read(text)
    first, second, year = int(slashed[1]), int(slashed[3]), int(slashed[4])
    by_day, by_month = dt.date(year, second, first), dt.date(year, first, second)
    what = f"'{text}' can be read as {by_day} or as {by_month}"
    reasons = list(_reasons(by_day, by_month, season, certain, day_first))
    named = {date for date, _ in reasons}
    if len(named) != 1:
        return DateReading(None, "ambiguous_date", what, _TYPE_ISO)
    why = " and ".join(reason for _, reason in reasons)
    return DateReading(None, "ambiguous_date", what, f"Type {named.pop()} if that is meant: {why}")


def _reasons(
    by_day: dt.date,
    by_month: dt.date,
    season: Season | None,
    certain: list[dt.date],
    day_first: list[bool | None],
) -> Iterator[tuple[dt.date, str]]:
    for date, other, order in ((by_day, by_month, True), (by_month, by_day, False)):
        if season and _within(date, season) and not _within(other, season):
            yield date, "the other reading is out of season"
        if date in certain and other not in certain:
            yield date, "other rows have that date"
        if order in day_first and (not order) not in day_first:
            part = "day" if order else "month"
            yield date, f"other dates here put the {part} first"


def _within(date: dt.date, season: Season) -> bool:
    return season.first_date <= date <= season.last_date
