"""Numbers that were typed where a name would follow the data."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from trialkit.narrative.facts import Facts
from trialkit.narrative.roles import replace_roles
from trialkit.narrative.values import Value

_CODE: Final = re.compile(r"(?s)^(`{3,}|~{3,}).*?^\1|(?<!`)`[^`\n]+`", re.MULTILINE)
_NUMBER: Final = r"(?<![\w.,/-])(?P<number>[−+-]?\d[\d,]*(?:\.\d+)?)\s?(?P<unit>{units})(?!\w)"
_PERCENT: Final = ("%", "percent", "per cent")
NEAR: Final = 0.1


@dataclass(frozen=True)
class BareNumber:
    """A typed number: its line, as it is written, and the name that it probably means."""

    line: int
    written: str
    name: str = ""
    now: str = ""


def bare_numbers(text: str, facts: Facts) -> tuple[BareNumber, ...]:
    """Find numbers typed beside a percent sign or a unit, outside roles and code."""
    plain = _CODE.sub(_blanked, replace_roles(text, lambda role: _lines(role.source)))
    found = re.compile(_NUMBER.format(units=_unit_pattern(facts)), re.IGNORECASE).finditer(plain)
    return tuple(_told(match, plain, facts) for match in found)


def _told(match: re.Match[str], plain: str, facts: Facts) -> BareNumber:
    line = plain.count("\n", 0, match.start()) + 1
    unit = "percent" if match["unit"].lower() in _PERCENT else match["unit"]
    name = _probably(match["number"], unit, facts)
    now = facts.values[name].text if name else ""
    return BareNumber(line, " ".join(match[0].split()), name, now)


def _probably(number: str, unit: str, facts: Facts) -> str:
    """The name whose value prints the same, else the nearest one; empty where none is near."""
    digits = number.lstrip("−+-").replace(",", "")
    typed, decimals = float(digits), len(digits.partition(".")[2])
    near = [
        (not _prints_alike(value, typed, decimals), _rank(name), distance, name)
        for name, value in _alike(unit, facts)
        if (distance := abs(abs(value.number or 0.0) - typed)) <= NEAR * max(typed, 1.0)
    ]
    return min(near)[-1] if near else ""


def _rank(name: str) -> int:
    """What people quote most: differences from the check, then means, then the rest."""
    kind = name.rpartition(".")[2]
    return 0 if kind.endswith("change") else 1 if kind == "mean" else 2


def _alike(unit: str, facts: Facts) -> Iterable[tuple[str, Value]]:
    """Finite values of that unit."""
    units = {unit, "%"} if unit == "percent" else {unit, unit.rstrip("s"), f"{unit}s"}
    return [
        (name, value)
        for name, value in facts.values.items()
        if value.unit in units and value.number is not None and math.isfinite(value.number)
    ]


def _prints_alike(value: Value, typed: float, decimals: int) -> bool:
    return value.number is not None and round(abs(value.number), decimals) == typed


def _unit_pattern(facts: Facts) -> str:
    units = {measure.unit for measure in facts.measures.values()} | {"points", "point", *_PERCENT}
    return "|".join(re.escape(unit) for unit in sorted(units, key=len, reverse=True))


def _lines(source: str) -> str:
    return "\n" * source.count("\n")


def _blanked(match: re.Match[str]) -> str:
    return _lines(match[0])
