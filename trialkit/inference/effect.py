"""An effect size with its interval."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Effect:
    """A value and its interval; an end that the data do not set is NaN and ``note`` says why."""

    value: float
    low: float
    high: float
    note: str = ""
