"""What moved between two renders of a report, and what moved it."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from trialkit.narrative.facts import EffectFact, Facts
from trialkit.narrative.numbers import change, change_range

ABSENT: Final = "absent"
# Relative difference below which two fits of the same data are the same.
NOISE: Final = 1e-6
# How the name of an input begins -> what it is, in the order in which causes are told.
GROUPS: Final = (
    ("data/", "data"),
    ("corrections.csv", "corrections"),
    ("costs.csv", "costs"),
    ("study.toml", "study description"),
    ("findings of", "findings of the site-seasons"),
    ("notebook ", "template"),
    ("trialkit's own code", "code"),
    ("version of", "versions"),
    ("narrative/", "narrative"),
)


@dataclass(frozen=True)
class Move:
    """One finding before and after; None where there was none, or is none any more."""

    before: EffectFact | None
    after: EffectFact | None

    @property
    def one(self) -> EffectFact:
        """The finding as it is now, else as it was."""
        found = self.after or self.before
        if found is None:
            raise ValueError("a move has a finding before or after")
        return found

    @property
    def flipped(self) -> bool:
        """True when the verdict or its direction is another one, or came or went."""
        if self.before is None or self.after is None:
            return True
        verdicts = [(one.verdict, one.direction) for one in (self.before, self.after)]
        return verdicts[0] != verdicts[1]

    @property
    def size(self) -> float:
        """How far the estimate moved, in half-widths of its earlier interval."""
        if self.before is None or self.after is None:
            return math.inf
        half = abs(self.before.high - self.before.low) / 2.0
        step = abs(self.after.effect - self.before.effect)
        return step / half if half and math.isfinite(half) and math.isfinite(step) else 0.0


@dataclass(frozen=True)
class Cause:
    """A kind of input that changed, and which inputs of it."""

    kind: str
    names: tuple[str, ...]


def moved_findings(before: Sequence[EffectFact], after: Sequence[EffectFact]) -> tuple[Move, ...]:
    """Findings that moved; flipped verdicts first, then those that moved farthest."""
    then, now = _by_key(before), _by_key(after)
    moves = [Move(then.get(key), now.get(key)) for key in dict.fromkeys([*now, *then])]
    moved = [move for move in moves if _differs(move)]
    return tuple(sorted(moved, key=lambda move: (not move.flipped, -move.size)))


def causes(before: Mapping[str, str], now: Mapping[str, str]) -> tuple[Cause, ...]:
    """What changed among the inputs of a report, by kind."""
    changed = [
        name
        for name in sorted({*before, *now})
        if before.get(name, ABSENT) != now.get(name, ABSENT)
    ]
    grouped: dict[str, list[str]] = {kind: [] for _, kind in GROUPS}
    for name in changed:
        grouped.setdefault(_kind_of(name), []).append(_in_words(name, before, now))
    return tuple(Cause(kind, tuple(names)) for kind, names in grouped.items() if names)


def move_words(move: Move, facts: Facts) -> str:
    """One move as a line to read."""
    one = move.one
    measure = facts.measures[one.measure].name if one.measure in facts.measures else one.measure
    treatment = facts.treatments.get(one.treatment, one.treatment)
    head = f"{measure}, {treatment}"
    if move.before is None:
        return f"{head}: new, {_state(one)}"
    if move.after is None:
        return f"{head}: gone, was {_state(one)}"
    verdict = (
        f"{_verdict(move.before)} is now {_verdict(move.after)}"
        if move.flipped
        else f"still {_verdict(move.after)}"
    )
    return f"{head}: {verdict}; {_estimate(move.before)} then, {_estimate(move.after)} now"


def cause_words(causes_found: Iterable[Cause]) -> list[str]:
    """One line for each kind of cause."""
    return [f"{cause.kind}: {', '.join(cause.names)}" for cause in causes_found]


def _by_key(effects: Iterable[EffectFact]) -> dict[tuple[str, str], EffectFact]:
    return {(one.measure, one.treatment): one for one in effects}


def _differs(move: Move) -> bool:
    if move.before is None or move.after is None or move.flipped:
        return True
    pairs = (
        (getattr(move.before, name), getattr(move.after, name))
        for name in ("effect", "low", "high")
    )
    return not all(_same(one, other) for one, other in pairs)


def _same(one: float, other: float) -> bool:
    if math.isnan(one) or math.isnan(other):
        return math.isnan(one) and math.isnan(other)
    return math.isclose(one, other, rel_tol=NOISE, abs_tol=NOISE)


def _kind_of(name: str) -> str:
    return next((kind for start, kind in GROUPS if name.startswith(start)), "other")


def _in_words(name: str, before: Mapping[str, str], now: Mapping[str, str]) -> str:
    old, new = before.get(name, ABSENT), now.get(name, ABSENT)
    if name.startswith("version of"):
        return f"{name.removeprefix('version of ')} {old} then, {new} now"
    if ABSENT in (old, new):
        return f"{name} ({'new' if old == ABSENT else 'gone'})"
    return name


def _verdict(effect: EffectFact) -> str:
    said = "" if effect.direction == "none" else f" ({effect.direction})"
    return f"{effect.verdict}{said}"


def _estimate(effect: EffectFact) -> str:
    interval = change_range(effect.low, effect.high, effect.unit)
    return f"{change(effect.effect, effect.unit)} ({interval})"


def _state(effect: EffectFact) -> str:
    return f"{_verdict(effect)}, {_estimate(effect)}"
