"""Suspicion in words: what breaks no rule, and still deserves a second look.

Each finding is a question with its evidence and what to look at in the field; it never drops a
row, and an answer in corrections.csv silences it. Limits are settings of our own, held to planted
faults and clean simulated site-seasons in tests/benchmarks (common practice, no source).
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.counts import counts_off, digit_preference, zero_visits
from trialkit.intake.suspicion.fruit import harvest_that_never_ends, weights_off
from trialkit.intake.suspicion.observers import observers
from trialkit.intake.suspicion.rows import Rows, Tables, in_rows
from trialkit.intake.suspicion.scores import scores_off, temperatures_off
from trialkit.intake.suspicion.swaps import swapped_plots
from trialkit.intake.suspicion.visits import months_off

_LOOKS: Final[tuple[Callable[[Tables], Iterator[tuple[str, Problem]]], ...]] = (
    counts_off,
    zero_visits,
    observers,
    digit_preference,
    weights_off,
    harvest_that_never_ends,
    scores_off,
    temperatures_off,
    swapped_plots,
    months_off,
)


def suspicions(tables: Mapping[str, pd.DataFrame | Rows]) -> Iterator[tuple[str, Problem]]:
    """Yield (table, question) for everything odd in the tidy tables of one site-season."""
    known = in_rows(tables)
    if not len(known["plots"]):
        return
    for look in _LOOKS:
        # People type numbers of any size; one beyond arithmetic is nothing to warn of.
        with np.errstate(all="ignore"):
            found = list(look(known))
        yield from found
