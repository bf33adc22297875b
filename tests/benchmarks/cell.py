"""One cell of the calibration benchmark: a design, a way to simulate it, and a method to judge.

Every ``scenarios_*.py`` beside this file offers ``cells() -> list[Cell]``.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Cell:
    """A cell of the calibration table.

    name     : unique and stable; a finished cell is found again by it.
    describe : what the table shows: ``design``, ``cell`` and ``method`` in words.
    simulate : (number of data sets, seed) -> ``{"n": data sets analysed, "type1": share of
               treatment tests with p < 0.05 under no effect, "coverage": share of 95 % intervals
               of treatment minus check that hold the truth}``; either share may be NaN where the
               cell does not measure it.
    bound    : True where ``coverage`` is that of a one-ended bound, which must hold at least 0.95.
    """

    name: str
    describe: Mapping[str, str]
    simulate: Callable[[int, int], Mapping[str, float]]
    bound: bool = False

    def run(self, n_datasets: int, seed: int) -> Mapping[str, float]:
        """Simulate and judge ``n_datasets`` data sets; the same seed gives the same answer."""
        return self.simulate(n_datasets, seed)
