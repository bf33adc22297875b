"""Numbers and changes as a reader of a figure wants them: few digits, units, plain words."""

import math
from typing import Any, Final

import pandas as pd

SPACE: Final = "\u00a0"
MINUS: Final = "\u2212"
MONTHS: Final = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def number(value: float, digits: int = 3) -> str:
    """Write a number with about ``digits`` significant digits, whole digits never cut.

    >>> number(18412.6), number(0.0384, 2), number(-3.02)
    ('18,413', '0.038', '−3.02')
    """
    if pd.isna(value):
        return "none"
    if math.isinf(value):
        return "no limit"
    size = math.floor(math.log10(abs(value))) if value else 0
    text = f"{abs(value):,.{max(0, digits - 1 - size)}f}" if value else "0"
    return f"{MINUS}{text}" if value < 0 else text


def amount(value: float, unit: str, digits: int = 3) -> str:
    """Join a number and its unit so that no line breaks between them."""
    return f"{number(value, digits)}{SPACE}{unit}"


def size_of_change(value: float, unit: str) -> str:
    """Write how large a change is, without its direction.

    >>> size_of_change(-62.3, "percent").replace(SPACE, " ")
    '62 %'
    """
    if unit == "percent":
        return f"{abs(value):.0f}{SPACE}%"
    if unit == "points":
        return f"{abs(value):.1f}{SPACE}points"
    return amount(abs(value), unit, 2)


def change(value: float, unit: str) -> str:
    """Write a change against the check in words.

    >>> change(-62.3, "percent").replace(SPACE, " ")
    '62 % lower'
    """
    if pd.isna(value):
        return "no estimate"
    size = size_of_change(value, unit)
    if float(_digits(size)) == 0:
        return size
    return f"{size} {'lower' if value < 0 else 'higher'}"


def change_range(low: float, high: float, unit: str) -> str:
    """Write an interval of a change in words; an open end is said as such.

    >>> change_range(-72, -48, "percent").replace(SPACE, " ")
    '48 to 72 % lower'
    >>> change_range(-12, 30, "percent").replace(SPACE, " ")
    '12 % lower to 30 % higher'
    """
    if math.isinf(low) or math.isinf(high):
        lower = "no lower limit" if math.isinf(low) else change(low, unit)
        upper = "no upper limit" if math.isinf(high) else change(high, unit)
        return f"{lower} to {upper}"
    if low * high > 0:
        near, far = sorted((low, high), key=abs)
        return f"{size_of_change(near, unit).split(SPACE)[0]} to {change(far, unit)}"
    return f"{change(low, unit)} to {change(high, unit)}"


def bounded(low: float, high: float, bound: str, unit: str) -> str:
    """Say a change of which the data give one end only.

    >>> bounded(-100, -85, "upper", "percent").replace(SPACE, " ")
    'at least 85 % lower'
    """
    end = high if bound == "upper" else low
    towards_zero = (bound == "upper") == (end < 0)
    return f"at {'least' if towards_zero else 'most'} {change(end, unit)}"


def day(date: Any, brief: bool = False) -> str:
    """Write a date without its year; ``brief`` cuts months of more than five letters.

    >>> day(pd.Timestamp(2026, 6, 3)).replace(SPACE, " ")
    '3 June'
    """
    stamp = pd.Timestamp(date)
    month = MONTHS[stamp.month - 1]
    return f"{stamp.day}{SPACE}{month[:3] if brief and len(month) > 5 else month}"


def listed(words: list[str]) -> str:
    """Join words as in a sentence.

    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return " and ".join(filter(None, [", ".join(words[:-1]), *words[-1:]]))


def percent_level(level: float) -> str:
    """Name an interval by its confidence level.

    >>> percent_level(0.95).replace(SPACE, " ")
    '95 % interval'
    """
    return f"{level * 100:g}{SPACE}% interval"


def words(identifier: str) -> str:
    """Turn an identifier into words."""
    return identifier.replace("_", " ")


def plural(count: int, noun: str) -> str:
    """Write a count with its noun.

    >>> plural(1, "plot"), plural(3, "plot")
    ('1 plot', '3 plots')
    """
    return f"{count} {noun}{'' if count == 1 else 's'}"


def _digits(text: str) -> str:
    return text.split(SPACE)[0].replace(",", "")
