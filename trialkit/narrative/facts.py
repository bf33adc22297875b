"""Facts of one report: all that its text may quote and that its claims are judged by.

Facts are made where the findings are and kept beside the report as plain JSON, so that text can be
filled in, checked and compared later without any data at hand.
"""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from functools import lru_cache
from typing import Any, Final

from trialkit.errors import TrialkitError
from trialkit.narrative.lined_json import lined_json
from trialkit.narrative.values import Value

FORMAT: Final = 1


@dataclass(frozen=True)
class EffectFact:
    """One treatment against the check, numbers in the unit that people read.

    ``season`` 0 and ``site`` "across" name the combined answer.
    """

    season: int
    site: str
    measure: str
    treatment: str
    effect: float
    low: float
    high: float
    unit: str
    margin: float
    verdict: str
    direction: str
    bound: str = ""


@dataclass(frozen=True)
class MeasureFact:
    """What a text needs to know of a measure."""

    name: str
    unit: str
    lower_is_better: bool
    primary: bool = False


@dataclass(frozen=True)
class Payoff:
    """Whether a treatment pays: "pays", "does not pay" or "not settled", with the reason.

    ``against`` maps another treatment to "more", "less" or "not settled", which this one returns,
    and to the difference in words.
    """

    verdict: str
    words: str
    against: Mapping[str, tuple[str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Decision:
    """What is recommended of a treatment, with the reason: a word of findings.recommendation."""

    word: str
    words: str


@dataclass(frozen=True)
class Facts:
    """Facts of one report.

    treatments, measures : what may be named, by id; the check comes first.
    effects    : effects at the report's own scope.
    singles    : effects of each finished site-season, for claims about every site or season.
    unanswered : measure -> why there is no answer.
    values     : name -> value that a text may quote.
    sentences  : name of a default text -> the text, with its roles.
    payoffs    : treatment -> whether it pays; empty where no costs were analysed.
    decisions  : treatment -> what is recommended; empty where the report recommends nothing.
    """

    across: bool
    level: float
    check: str
    treatments: Mapping[str, str]
    measures: Mapping[str, MeasureFact]
    effects: tuple[EffectFact, ...] = ()
    singles: tuple[EffectFact, ...] = ()
    unanswered: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Value] = field(default_factory=dict)
    sentences: Mapping[str, str] = field(default_factory=dict)
    payoffs: Mapping[str, Payoff] = field(default_factory=dict)
    decisions: Mapping[str, Decision] = field(default_factory=dict)

    def effect(self, treatment: str, measure: str) -> EffectFact | None:
        """The effect at the report's own scope, None where there is none."""
        found = (e for e in self.effects if (e.treatment, e.measure) == (treatment, measure))
        return next(found, None)

    def to_bytes(self) -> bytes:
        """Return the facts as they stand in their file; the same facts are the same bytes."""
        return lined_json({"format": FORMAT, **plain(self)})


@lru_cache(maxsize=1)
def read_facts(content: bytes, place: str) -> Facts:
    """Read facts back; raises TrialkitError where the file does not hold any."""
    try:
        told = json.loads(content)
        if told.pop("format") != FORMAT:
            raise ValueError
        return Facts(
            **{
                **told,
                "measures": {name: MeasureFact(**one) for name, one in told["measures"].items()},
                "effects": effects_from(told["effects"]),
                "singles": effects_from(told["singles"]),
                "values": {name: _value(one) for name, one in told["values"].items()},
                "payoffs": {name: _payoff(one) for name, one in told["payoffs"].items()},
                "decisions": {
                    name: Decision(**one) for name, one in told.get("decisions", {}).items()
                },
            }
        )
    except (ValueError, KeyError, TypeError, AttributeError):
        raise TrialkitError(
            f"{place}::: these facts were written by another version. Render the report again."
        ) from None


def effects_from(rows: Iterable[Mapping[str, Any]]) -> tuple[EffectFact, ...]:
    """Effects from plain rows; an infinite end is written as text."""
    numbers = ("effect", "low", "high", "margin")
    return tuple(EffectFact(**{**row, **{n: float(row[n]) for n in numbers}}) for row in rows)


def _payoff(told: Mapping[str, Any]) -> Payoff:
    pairs = {
        name: (str(word), str(words)) for name, (word, words) in told.get("against", {}).items()
    }
    return Payoff(told["verdict"], told["words"], pairs)


def _value(told: Mapping[str, Any]) -> Value:
    number = told["number"]
    return Value(**{**told, "number": None if number is None else float(number)})


def plain(content: Any) -> Any:
    """Plain data in which a number that JSON cannot say is written as text."""
    if content is None or isinstance(content, str | int):
        return content
    if isinstance(content, float):
        return content if math.isfinite(content) else str(content)
    if is_dataclass(content):
        return {one.name: plain(getattr(content, one.name)) for one in fields(content)}
    if isinstance(content, Mapping):
        return {key: plain(one) for key, one in content.items()}
    return [plain(one) for one in content]
