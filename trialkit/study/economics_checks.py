"""What of ``[economics]`` in study.toml cannot be used, entry by entry."""

import math
import re
from collections.abc import Iterator
from typing import Final

from trialkit.errors import Fault
from trialkit.study.description import Study
from trialkit.study.economics import Amount, Economics
from trialkit.study.read import STUDY_FILE, line_of

GRADES: Final = ("marketable", "cull")
_SIGNS: Final = {"$": "dollars", "€": "euros", "£": "pounds", "¥": "yen"}


def economics_faults(study: Study) -> tuple[Fault, ...]:
    """Return a fault for every price, cost or name in ``[economics]`` that cannot be used.

    A study without ``[economics]`` has no faults here, and no economics either.
    """
    if study.economics is None:
        return ()
    text = _text(study)
    return tuple(_faults(study, study.economics, text))


def _text(study: Study) -> str:
    path = study.folder / STUDY_FILE
    return path.read_text(encoding="utf-8-sig") if path.is_file() else ""


def _faults(study: Study, part: Economics, text: str) -> Iterator[Fault]:
    for entry, what, remedy in _problems(study, part):
        names = ("economics", *entry.split("."))
        key = f"economics.{entry}"
        row = line_of(text, names) if text else 0
        yield Fault((study.folder / STUDY_FILE).as_posix(), row, key, what, remedy, "economics")


def _problems(study: Study, part: Economics) -> Iterator[tuple[str, str, str]]:
    yield from _names(study, part)
    if "marketable" not in part.prices:
        yield (
            "prices",
            "the price of marketable produce is missing",
            f"Add marketable = PRICE ({study.currency} per unit of weight)",
        )
    amounts = {f"prices.{grade}": price for grade, price in part.prices.items()}
    amounts |= {f"labour.{one.treatment}": one.hours for one in part.labour}
    for name in ("wage", "picking_hours", "packing", "yield_adjustment", "minimum_return"):
        amounts[name] = getattr(part, name)
    for entry, amount in amounts.items():
        what = wrong_amount(amount, study.currency)
        if what:
            yield entry, what, f"Type a plain number in {study.currency}, or in hours or percent"
    adjustment = part.yield_adjustment
    if isinstance(adjustment, float) and adjustment >= 100:
        yield "yield_adjustment", "100 percent or more leaves no yield", "Type a smaller percentage"


def _names(study: Study, part: Economics) -> Iterator[tuple[str, str, str]]:
    measures = [m.id for m in study.measures if m.kind == "marketable_yield"]
    if part.measure not in measures:
        listed = ", ".join(measures) or "none"
        yield "measure", f"'{part.measure}' is no measure of marketable yield", f"Known: {listed}"
    for grade in part.prices:
        if grade not in GRADES:
            yield f"prices.{grade}", f"'{grade}' is no grade", f"Grades are {' and '.join(GRADES)}"
    for one in part.labour:
        entry = f"labour.{one.treatment}"
        if one.treatment not in study.treatment_ids:
            listed = ", ".join(study.treatment_ids)
            yield entry, f"'{one.treatment}' is no treatment of the study", f"Known: {listed}"
        if one.event not in study.events:
            listed = ", ".join(study.events)
            yield entry, f"'{one.event}' is no event of the study", f"Known: {listed}"


def wrong_amount(amount: Amount, currency: str) -> str:
    """Say what is wrong with an amount, or return nothing.

    >>> wrong_amount("0.90 EUR", "USD")
    "'0.90 EUR' is in EUR, but the study's currency is USD"
    >>> wrong_amount(-1.0, "USD"), wrong_amount(0.9, "USD")
    ("'-1' is below zero", '')
    """
    if isinstance(amount, str):
        return _wrong_text(amount.strip(), currency)
    if not math.isfinite(amount):
        return f"'{amount}' is not a finite number"
    return f"'{amount:g}' is below zero" if amount < 0 else ""


def _wrong_text(text: str, currency: str) -> str:
    if not text:
        return "the amount is missing"
    code = re.search(r"\b[A-Z]{3}\b", text)
    if code and code.group() != currency:
        return f"'{text}' is in {code.group()}, but the study's currency is {currency}"
    sign = next((name for mark, name in _SIGNS.items() if mark in text), None)
    if sign and not code:
        return f"'{text}' is in {sign}; a price is a plain number in {currency}"
    return f"'{text}' is text, not a number"
