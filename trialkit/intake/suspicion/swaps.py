"""Two plots of a block that look swapped."""

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem

# Changing the two over must leave less than this share of what blocks and treatments leave unsaid.
_LEFT_UNSAID: Final = 0.25


def swapped_plots(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """Two plots whose season, changed over, fits blocks and treatments far better."""
    every = tables["plots"].set_index("plot")
    for table, values in (("scouting", "count"), ("harvest", "weight")):
        plots = every
        total = tables[table].groupby("plot")[values].sum().reindex(plots.index)
        plots, total = plots[total.notna()], total.dropna()
        if plots["treatment"].nunique() < 3 or plots["block"].nunique() < 3:
            continue
        scale = max(1.0, float(total.median()) * 0.02) if values == "count" else 1e-3
        found = _best_swap(np.log(total.to_numpy() + scale), plots)
        if found:
            first, second, share = found
            yield table, _swap(tables[table], first, second, share)


def _best_swap(y: np.ndarray, plots: pd.DataFrame) -> tuple[str, str, float] | None:
    codes = [pd.factorize(plots[name])[0] for name in ("block", "treatment")]
    design = np.hstack([np.eye(found.max() + 1)[found] for found in codes])
    basis = np.linalg.svd(design, full_matrices=False)
    hat = basis.U[:, basis.S > 1e-9] @ basis.U[:, basis.S > 1e-9].T
    residual = np.eye(len(y)) - hat
    before = float(y @ residual @ y)
    one, other = _pairs(plots)
    if not len(one):
        return None
    shares = _after_swap(y, residual, one, other) / max(before, 1e-12)
    best = int(shares.argmin())
    if shares[best] > _LEFT_UNSAID:
        return None
    names = [str(name) for name in plots.index]
    return names[one[best]], names[other[best]], float(shares[best])


def _pairs(plots: pd.DataFrame) -> tuple[np.ndarray, np.ndarray]:
    """Positions of all pairs of plots that share a block and not a treatment."""
    block, treatment = (pd.factorize(plots[name])[0] for name in ("block", "treatment"))
    one, other = np.triu_indices(len(plots), 1)
    kept = (block[one] == block[other]) & (treatment[one] != treatment[other])
    return one[kept], other[kept]


def _after_swap(
    y: np.ndarray, residual: np.ndarray, one: np.ndarray, other: np.ndarray
) -> np.ndarray:
    """Residual sum of squares with each pair of values changed over.

    With d = y_j - y_i the form y'Ry becomes y'Ry + 2d((Ry)_i - (Ry)_j) + d²(R_ii + R_jj - 2R_ij).
    """
    left, own, d = residual @ y, residual.diagonal(), y[other] - y[one]
    moved = own[one] + own[other] - 2 * residual[one, other]
    return float(y @ left) + 2 * d * (left[one] - left[other]) + d**2 * moved


def _swap(rows: pd.DataFrame, first: str, second: str, share: float) -> Problem:
    return Problem(
        "plots_swapped",
        f"plots {first} and {second} look swapped: changed over, they leave {share:.0%} of the "
        "scatter within blocks and treatments",
        "Look at the stakes of both plots, and at the order in which the sheet was filled",
        [int(rows.index[rows["plot"] == first][0])],
        "plot",
        "question",
    )
