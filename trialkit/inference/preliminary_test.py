"""A first look at the table of environments x treatments: does a factor's interaction show?

A preliminary F test decides whether one more term enters a model; at a level well above 5 % the
tests that follow keep their error rates close to what they promise. Source of the practice and of
levels near 0.25: Bozivich, Bancroft & Hartley 1956, Ann. Math. Stat. 27:1017 (cited from memory).
"""

from collections.abc import Sequence

import numpy as np
from scipy import stats


def cell_means(
    y: np.ndarray, environment: np.ndarray, treatment: np.ndarray, block: np.ndarray | None
) -> np.ndarray:
    """Return (E, k) means of treatments in environments, adjusted for blocks where plots are lost.

    All arguments are (n,), the last three codes from 0 (``block`` within or over environments). A
    treatment without a plot in an environment is NaN there.

    >>> y, zero = np.array([1.0, 3, 5, 8]), np.zeros(4, dtype=int)
    >>> cell_means(y, zero, np.array([0, 1, 0, 1]), np.array([0, 0, 1, 1])).round(9).tolist()
    [[3.0, 5.5]]
    """
    table = np.full((environment.max() + 1, treatment.max() + 1), np.nan)
    blocks = np.zeros_like(environment) if block is None else block
    for place in range(len(table)):
        here = environment == place
        present, column = np.unique(treatment[here], return_inverse=True)
        x = _indicators(column)
        shifts = _centred(_indicators(blocks[here]))
        solution = np.linalg.lstsq(np.column_stack([x, shifts]), y[here], rcond=None)[0]
        table[place, present] = solution[: len(present)]
    return table


def interaction_p(table: np.ndarray, tested: np.ndarray, kept: Sequence[np.ndarray] = ()) -> float:
    """Return p of ``tested`` x treatment in ``table`` (E, k), after that of the factors ``kept``.

    Factors are (E,) codes, one of an environment. Environments, treatments and the interactions
    ``kept`` are taken out first; what is left after all of them is the error. Exact for a table of
    equal precision under normality; NaN where no degrees of freedom are left for either.

    >>> table = np.array([[0.0, 1.0], [0.1, 1.3], [0.0, 3.1], [0.2, 3.0]])
    >>> bool(interaction_p(table, np.array([0, 0, 1, 1])) < 0.05)
    True
    """
    place, treatment = np.nonzero(np.isfinite(table))
    y, k = table[place, treatment], table.shape[1]
    crossed = [_indicators(codes[place] * k + treatment) for codes in (*kept, tested)]
    base = [_indicators(place), _indicators(treatment), *crossed[:-1]]
    before, rank_before = _rest(y, base)
    after, rank_after = _rest(y, [*base, crossed[-1]])
    df1, df2 = rank_after - rank_before, len(y) - rank_after
    if df1 < 1 or df2 < 1:
        return float("nan")
    if after <= 0:
        return 0.0
    return float(stats.f.sf(max(0.0, before - after) / df1 / (after / df2), df1, df2))


def _rest(y: np.ndarray, parts: list[np.ndarray]) -> tuple[float, int]:
    """Return the residual sum of squares and the rank of the least squares fit."""
    x = np.column_stack(parts)
    solution, _, rank, _ = np.linalg.lstsq(x, y, rcond=None)
    return float(np.sum((y - x @ solution) ** 2)), int(rank)


def _indicators(codes: np.ndarray) -> np.ndarray:
    return (codes[:, None] == np.unique(codes)) * 1.0


def _centred(columns: np.ndarray) -> np.ndarray:
    """Return differences from the last column, so that blocks add nothing to the mean."""
    return columns[:, :-1] - columns[:, -1:]
