"""Numbers as a person would write them: enough digits, units, and signs turned into words."""

import math
from typing import Final

NBSP: Final = "\u00a0"
MINUS: Final = "\u2212"


def decimals_for(largest: float, digits: int = 3) -> int:
    """Decimals that show ``digits`` significant digits of the largest number of a column.

    >>> decimals_for(1234.5), decimals_for(12.3), decimals_for(0.0123)
    (0, 1, 4)
    """
    if not math.isfinite(largest) or largest == 0:
        return 1
    return max(0, digits - 1 - math.floor(math.log10(abs(largest))))


def fixed(value: float | None, decimals: int) -> str:
    """A number with thousands separators and a real minus sign; a dash where it is missing.

    >>> fixed(-1234.56, 1)
    '−1,234.6'
    """
    if value is None or math.isnan(value):
        return "–"
    if math.isinf(value):
        return "no limit"
    text = f"{value:,.{decimals}f}"
    return text.replace("-", MINUS) if float(text.replace(",", "")) else text.lstrip("-")


def brief(value: float | None, digits: int = 3) -> str:
    """A number standing alone in a sentence, to ``digits`` significant digits.

    >>> brief(0.012345), brief(1234.5)
    ('0.0123', '1,234')
    """
    if value is None or math.isnan(value):
        return "–"
    return fixed(value, decimals_for(value, digits))


def with_unit(number: str, unit: str) -> str:
    """Join number and unit by a no-break space; ``%`` included."""
    return f"{number}{NBSP}{unit}".rstrip() if unit else number


def change_number(value: float, unit: str, decimals: int | None = None) -> str:
    """Size of a change without its sign, such as ``62 %`` or ``3.2 points``."""
    size = abs(value)
    if unit == "percent":
        return with_unit(fixed(size, 0 if size >= 9.95 else 1), "%")
    if unit == "points":
        return with_unit(fixed(size, 1), "points")
    shown = decimals_for(size, 2) if decimals is None else decimals
    return with_unit(fixed(size, shown), unit)


def change(value: float, unit: str, decimals: int | None = None) -> str:
    """A change in words; ``points`` are percentage points.

    >>> change(-62.3, "percent").replace(NBSP, " ")
    '62 % lower'
    """
    if value == 0:
        return "no change"
    return f"{change_number(value, unit, decimals)} {'lower' if value < 0 else 'higher'}"


def change_range(low: float, high: float, unit: str) -> str:
    """An interval of a change in words, said once where both ends point the same way.

    >>> change_range(-72.0, -48.0, "percent").replace(NBSP, " ")
    '48 to 72 % lower'
    >>> change_range(-12.0, 30.0, "percent").replace(NBSP, " ")
    '12 % lower to 30 % higher'
    """
    if math.isinf(low) and math.isinf(high):
        return "anything at all"
    if math.isinf(high):
        return f"{change(low, unit)} or more" if low >= 0 else f"{change(low, unit)} to no limit"
    if math.isinf(low):
        return f"{change(high, unit)} or more" if high <= 0 else f"no limit to {change(high, unit)}"
    decimals = decimals_for(max(abs(low), abs(high)), 2)
    if low * high > 0:
        near, far = sorted((low, high), key=abs)
        near_text = change_number(near, unit, decimals).split(NBSP)[0]
        return f"{near_text} to {change(far, unit, decimals)}"
    return f"{change(low, unit, decimals)} to {change(high, unit, decimals)}"
