"""Two plots of a block that look swapped."""

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

import numpy as np

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, Tables

# Changing the two over must leave less than this share of what blocks and treatments leave unsaid.
_LEFT_UNSAID: Final = 0.25


def swapped_plots(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """Two plots whose season, changed over, fits blocks and treatments far better."""
    for table, values in (("scouting", "count"), ("harvest", "weight")):
        total, labels, *layout = _totals(tables[table], tables["plots"], values)
        if any(len(np.unique(codes[codes >= 0])) < 3 for codes in layout):
            continue
        scale = max(1.0, float(np.median(total)) * 0.02) if values == "count" else 1e-3
        found = _best_swap(np.log(total + scale), *layout)
        if found:
            first, second, share = found
            yield table, _swap(tables[table], labels[first], labels[second], share)


def _totals(
    rows: Rows, plots: Rows, values: str
) -> tuple[np.ndarray, list[str], np.ndarray, np.ndarray]:
    """Total of each plot that has rows, its label, and the numbers of its block and treatment."""
    (plot, labels), value = rows.words("plot"), np.nan_to_num(rows.values(values), nan=0.0)
    total = dict(zip(labels, np.bincount(plot, value, len(labels)), strict=True))
    laid_out, known = plots.words("plot")
    kept = [at for at, code in enumerate(laid_out) if known[code] in total]
    named = [known[laid_out[at]] for at in kept]
    block, treatment = (plots.words(name)[0][kept] for name in ("block", "treatment"))
    return np.array([total[name] for name in named]), named, block, treatment


def _best_swap(
    y: np.ndarray, block: np.ndarray, treatment: np.ndarray
) -> tuple[int, int, float] | None:
    residual = _residual_of(tuple(block), tuple(treatment))
    before = float(y @ residual @ y)
    one, other = _pairs(block, treatment)
    if not len(one):
        return None
    shares = _after_swap(y, residual, one, other) / max(before, 1e-12)
    best = int(shares.argmin())
    if shares[best] > _LEFT_UNSAID:
        return None
    return int(one[best]), int(other[best]), float(shares[best])


# The tables of a site-season share their layout.
@lru_cache(maxsize=8)
def _residual_of(block: tuple[int, ...], treatment: tuple[int, ...]) -> np.ndarray:
    """Matrix that leaves of plot values what neither block nor treatment says."""
    codes = [np.unique(part, return_inverse=True)[1] for part in (block, treatment)]
    design = np.hstack([np.eye(found.max() + 1)[found] for found in codes])
    basis = np.linalg.svd(design, full_matrices=False)
    kept = basis.U[:, basis.S > 1e-9]
    return np.eye(len(block)) - kept @ kept.T


def _pairs(block: np.ndarray, treatment: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Positions of all pairs of plots that share a block and not a treatment."""
    alike = (block[:, None] == block) & (treatment[:, None] != treatment)
    one, other = np.nonzero(np.triu(alike, 1))
    return one, other


def _after_swap(
    y: np.ndarray, residual: np.ndarray, one: np.ndarray, other: np.ndarray
) -> np.ndarray:
    """Residual sum of squares with each pair of values changed over.

    With d = y_j - y_i the form y'Ry becomes y'Ry + 2d((Ry)_i - (Ry)_j) + d²(R_ii + R_jj - 2R_ij).
    """
    left, own, d = residual @ y, residual.diagonal(), y[other] - y[one]
    moved = own[one] + own[other] - 2 * residual[one, other]
    return float(y @ left) + 2 * d * (left[one] - left[other]) + d**2 * moved


def _swap(rows: Rows, first: str, second: str, share: float) -> Problem:
    return Problem(
        "plots_swapped",
        f"plots {first} and {second} look swapped: changed over, they leave {share:.0%} of the "
        "scatter within blocks and treatments",
        "Look at the stakes of both plots, and at the order in which the sheet was filled",
        rows.first(rows.words("plot")[0] == rows.words("plot")[1].index(first)),
        "plot",
        "question",
    )
