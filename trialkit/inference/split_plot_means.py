"""Means of whole-plot levels and of single cells of a split plot, each with its own standard error.

In a balanced split plot of r blocks, a whole-plot levels and b treatments the covariance of the ab
cell means has three parts: (MS_block P0 + MS_whole P1 + MS_rest P2) / r, where P0 takes the overall
mean, P1 the differences between whole plots and P2 what is left. So a difference between treatments
on one whole-plot level has variance 2 MS_rest / r on the residual degrees of freedom, one between
whole-plot levels 2 MS_whole / rb on those of the whole-plot error, and one between cells of two
levels 2 [(b - 1) MS_rest + MS_whole] / rb on Satterthwaite's.

Sources: Yates 1935, Suppl. J. R. Stat. Soc. 2:181; Satterthwaite 1946, Biometrics 2:110; the table
of standard errors is that of Cochran & Cox 1957, Experimental Designs, ch. 7 (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from trialkit.inference.design import Design
from trialkit.inference.estimates import MarginalMeans

DegreesOfFreedom = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Cells:
    """Cell means of a split plot: whole-plot level by level, treatments within.

    estimate   : (ab,) means on the link scale.
    covariance : (ab, ab) their covariance.
    df         : contrasts (m, ab) -> (m,) degrees of freedom of each.
    """

    estimate: np.ndarray
    covariance: np.ndarray
    df: DegreesOfFreedom


def stratum_cells(
    means: np.ndarray, blocks: int, mean_squares: np.ndarray, df: np.ndarray
) -> Cells:
    """Return the cells of a balanced split plot from ``means`` (a, b) and its error strata.

    ``mean_squares`` and ``df`` are those of block, block x whole plot, and residual.

    >>> cells = stratum_cells(np.zeros((3, 4)), 6, np.array([3175.06, 601.33, 177.08]),
    ...                       np.array([5, 10, 45]))
    >>> within, across = np.eye(12)[0] - np.eye(12)[1], np.eye(12)[0] - np.eye(12)[4]
    >>> [round(float(np.sqrt(c @ cells.covariance @ c)), 4) for c in (within, across)]
    [7.6829, 9.715]
    >>> cells.df(np.array([within, across])).round(2).tolist()     # Yates' oats
    [45.0, 30.23]
    """
    a, b = means.shape
    overall = np.full((a * b, a * b), 1 / (a * b))
    whole = np.kron(np.eye(a), np.full((b, b), 1 / b)) - overall
    parts = np.stack([overall, whole, np.eye(a * b) - overall - whole])
    pieces = mean_squares / blocks

    def satterthwaite(contrasts: np.ndarray) -> np.ndarray:
        shares = np.einsum("mi,kij,mj->mk", contrasts, parts, contrasts) * pieces
        return np.asarray(shares.sum(axis=1) ** 2 / (shares**2 / df).sum(axis=1))

    return Cells(means.ravel(), np.einsum("k,kij->ij", pieces, parts), satterthwaite)


def split_plot_means(design: Design, cells: Cells) -> dict[str, MarginalMeans]:
    """Return the marginal means "whole_plot" (averages over treatments) and "cell"."""
    levels = tuple(design.frame["whole_plot"].cat.categories)
    b = len(design.treatments)
    labels = tuple(f"{level}, {one}" for level in levels for one in design.treatments)
    whole = design.frame["whole_plot"].cat.codes.to_numpy().astype(int)
    cell = whole * b + design.frame["treatment"].cat.codes.to_numpy().astype(int)
    average = np.kron(np.eye(len(levels)), np.full((1, b), 1 / b))
    return {
        "whole_plot": _means(design, cells, levels, average, np.bincount(whole)),
        "cell": _means(design, cells, labels, np.eye(len(labels)), np.bincount(cell)),
    }


def _means(
    design: Design, cells: Cells, labels: tuple[str, ...], weights: np.ndarray, n: np.ndarray
) -> MarginalMeans:
    k = len(labels)
    first, second = np.triu_indices(k, 1)
    pair_df = np.full((k, k), np.nan)
    pair_df[first, second] = cells.df(weights[first] - weights[second])
    pair_df[second, first] = pair_df[first, second]
    return MarginalMeans(
        treatments=labels,
        estimate=weights @ cells.estimate,
        covariance=weights @ cells.covariance @ weights.T,
        df=cells.df(weights),
        pair_df=pair_df,
        link="log" if design.family == "lognormal" else "identity",
        n=n,
    )
