"""What an iterative fit did, kept with its result so that a reader can judge it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class FitRecord:
    """The optimisation record of one fit.

    criterion   : name of what was maximised.
    start       : components at the start (response units squared).
    path        : the criterion after each accepted step, the start included.
    gradient    : derivative of the criterion by each component at the end (1 / units squared).
    decrement   : predicted further gain of the criterion; near 0 at a maximum.
    held        : components that were not let fall below zero.
    boundary    : components estimated at or below zero, reported as zero.
    converged   : whether the decrement fell below the tolerance.
    """

    criterion: str
    start: tuple[float, ...]
    path: tuple[float, ...]
    gradient: tuple[float, ...]
    decrement: float
    held: tuple[str, ...]
    boundary: tuple[str, ...]
    converged: bool

    @property
    def iterations(self) -> int:
        """Return the number of accepted steps."""
        return len(self.path) - 1

    def as_dict(self) -> dict[str, object]:
        """Return the record as plain values, fit for JSON."""
        return {
            "criterion": self.criterion,
            "value": self.path[-1],
            "start": list(self.start),
            "iterations": self.iterations,
            "gradient": list(self.gradient),
            "decrement": self.decrement,
            "held": list(self.held),
            "boundary": list(self.boundary),
            "converged": self.converged,
        }
