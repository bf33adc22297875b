"""Values that a text may quote, and the few ways in which they can be written."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from trialkit.errors import TrialkitError
from trialkit.narrative.numbers import MINUS, brief, change, fixed, with_unit

Kind = Literal["change", "amount", "count", "words"]
_CALL: Final = re.compile(r"^\s*(?P<name>[a-z]+)\s*(?:\(\s*(?P<argument>[^()]*?)\s*\))?\s*$")
MOST_DECIMALS: Final = 6


@dataclass(frozen=True)
class Value:
    """A value to quote.

    kind   : a "change" is spoken with lower or higher; an "amount" has a unit, a "count" none.
    number : the value in full precision, in the unit that people read; None for words.
    unit   : "percent", "points" or the unit as printed.
    text   : as a person would write it.
    about  : what the value is, for the list of names.
    """

    kind: Kind
    text: str
    number: float | None = None
    unit: str = ""
    about: str = ""


def change_value(number: float, unit: str, about: str = "") -> Value:
    """A change against the check.

    >>> change_value(-62.3, "percent").text.replace(chr(160), " ")
    '62 % lower'
    """
    return Value("change", change(number, unit), number, unit, about)


def amount(number: float, unit: str, about: str = "") -> Value:
    """A number with its unit, to three significant digits."""
    return Value("amount", with_unit(brief(number), unit), number, unit, about)


def setting(number: float, unit: str, about: str = "") -> Value:
    """A number that people chose, such as a margin: no digits that say nothing.

    >>> setting(30.0, "%").text.replace(chr(160), " "), setting(892.179, "lb/acre").text[:3]
    ('30 %', '892')
    """
    digits = brief(number)
    digits = digits.rstrip("0").rstrip(".") if "." in digits else digits
    return Value("amount", with_unit(digits, unit), number, unit, about)


def count(number: float, about: str = "") -> Value:
    """A whole number without a unit."""
    return Value("count", fixed(number, 0), number, "", about)


def words(text: str, about: str = "") -> Value:
    """A name or a phrase."""
    return Value("words", text, about=about)


def filtered(value: Value, written: str) -> Value:
    """Apply one filter as it is written, such as ``round(1)``; raises TrialkitError in words.

    >>> filtered(change_value(-62.34, "percent"), "round(1)").text.replace(chr(160), " ")
    '62.3 % lower'
    >>> filtered(change_value(-62.34, "percent"), "size").text.replace(chr(160), " ")
    '62 %'
    """
    call = _CALL.match(written)
    name = call["name"] if call else written.strip()
    if call is None or name not in FILTERS:
        raise TrialkitError(
            f"there is no filter '{written.strip()}'. Filters are: {', '.join(FILTER_HELP)}."
        )
    return FILTERS[name](value, call["argument"] or "")


def _round(value: Value, argument: str) -> Value:
    decimals = int(argument) if argument.isdigit() else 0 if not argument else -1
    if not 0 <= decimals <= MOST_DECIMALS:
        raise TrialkitError(f"round needs a number from 0 to {MOST_DECIMALS}, such as round(1).")
    number = _numeric(value, "round")
    if value.kind == "change":
        return replace(value, text=_sized(number, value.unit, decimals))
    return replace(value, text=with_unit(fixed(number, decimals), _printed(value.unit)))


def _sized(number: float, unit: str, decimals: int) -> str:
    size = with_unit(fixed(abs(number), decimals), _printed(unit))
    return f"{size} {'lower' if number < 0 else 'higher'}" if number else "no change"


def _printed(unit: str) -> str:
    return "%" if unit == "percent" else unit


def _size(value: Value, argument: str) -> Value:
    _no_argument("size", argument)
    _numeric(value, "size")
    return replace(value, text=re.sub(r" (?:lower|higher)$", "", value.text).lstrip(MINUS))


def _number(value: Value, argument: str) -> Value:
    """The digits as written so far, with a sign, without unit or direction."""
    _no_argument("number", argument)
    number = _numeric(value, "number")
    digits = re.search(r"[\d][\d,.]*", value.text)
    sign = MINUS if number < 0 else ""
    return replace(value, text=f"{sign}{digits[0]}" if digits else value.text)


def _capital(value: Value, argument: str) -> Value:
    _no_argument("capital", argument)
    return replace(value, text=value.text[:1].upper() + value.text[1:])


def _numeric(value: Value, name: str) -> float:
    if value.number is None:
        raise TrialkitError(f"{name} is for numbers, and this is '{value.text}'.")
    return value.number


def _no_argument(name: str, argument: str) -> None:
    if argument:
        raise TrialkitError(f"{name} takes nothing in brackets.")


FILTERS: Final[Mapping[str, Callable[[Value, str], Value]]] = {
    "round": _round,
    "size": _size,
    "number": _number,
    "capital": _capital,
}
FILTER_HELP: Final = {
    "round(N)": "N decimals",
    "size": "without lower or higher",
    "number": "digits and sign only",
    "capital": "with a capital first letter",
}
