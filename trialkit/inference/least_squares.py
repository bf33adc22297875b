"""Least squares on factors: coding, fit and what is estimable.

Factors are coded to sum to zero, so that leaving the columns of a term out gives its Type III
hypothesis, and the average over a factor's levels has weight zero on its columns.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np
import pandas as pd

RANK_TOLERANCE = 1e-10


def sum_coding(levels: int) -> np.ndarray:
    """Return the (levels, levels - 1) sum-to-zero coding of a factor.

    >>> sum_coding(3)
    array([[ 1.,  0.],
           [ 0.,  1.],
           [-1., -1.]])
    """
    return np.vstack([np.eye(levels - 1), -np.ones(levels - 1)])


@dataclass(frozen=True)
class ModelMatrix:
    """Coded factors: ``X`` (n, p), the columns of each term, and the levels of each factor."""

    X: np.ndarray
    columns: Mapping[str, slice]
    levels: Mapping[str, tuple[str, ...]]

    def of(self, *terms: str) -> np.ndarray:
        """Return the columns of some terms (n, p'); the intercept is called ``1``."""
        return np.hstack([self.X[:, self.columns[term]] for term in terms])


def model_matrix(frame: pd.DataFrame, terms: Sequence[str]) -> ModelMatrix:
    """Code categorical columns of ``frame``; a term ``a:b`` is the interaction of a and b.

    >>> frame = pd.DataFrame({"a": pd.Categorical(["x", "y"])})
    >>> model_matrix(frame, ["a"]).X
    array([[ 1.,  1.],
           [ 1., -1.]])
    """
    factors = dict.fromkeys(name for term in terms for name in term.split(":"))
    levels = {name: tuple(map(str, frame[name].cat.categories)) for name in factors}
    coded = {
        name: sum_coding(len(levels[name]))[frame[name].cat.codes.to_numpy()] for name in factors
    }
    return _stack(np.ones((len(frame), 1)), terms, coded, levels)


def _stack(
    ones: np.ndarray,
    terms: Sequence[str],
    coded: Mapping[str, np.ndarray],
    levels: Mapping[str, tuple[str, ...]],
) -> ModelMatrix:
    parts = [ones, *(reduce(_products, [coded[f] for f in term.split(":")]) for term in terms)]
    ends = np.cumsum([part.shape[1] for part in parts])
    names = ["1", *terms]
    columns = {
        name: slice(end - part.shape[1], end)
        for name, part, end in zip(names, parts, ends.tolist(), strict=True)
    }
    return ModelMatrix(np.hstack(parts), columns, levels)


def _products(left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Return all products of a column of one with a column of the other, row by row."""
    return (left[:, :, None] * right[:, None, :]).reshape(len(left), -1)


def grid_row(matrix: ModelMatrix, at: Mapping[str, str]) -> np.ndarray:
    """Return the (p,) weights of the mean at some factor levels, averaged evenly over the others.

    >>> frame = pd.DataFrame({"a": pd.Categorical(["x", "y"])})
    >>> grid_row(model_matrix(frame, ["a"]), {"a": "y"}), grid_row(model_matrix(frame, ["a"]), {})
    (array([ 1., -1.]), array([1., 0.]))
    """
    coded = {
        name: sum_coding(len(levels))[[levels.index(at[name])]]
        if name in at
        else np.zeros((1, len(levels) - 1))
        for name, levels in matrix.levels.items()
    }
    terms = [term for term in matrix.columns if term != "1"]
    return _stack(np.ones((1, 1)), terms, coded, matrix.levels).X[0]


@dataclass(frozen=True)
class Fit:
    """Least squares of one response on a model matrix.

    ``y`` is measured from ``origin`` (a subtraction that is exact for data with many leading
    digits in common); ``coefficients`` and ``fitted`` are too. ``basis`` (n, rank) is an
    orthonormal basis of the model's column space, ``root`` (p, rank) satisfies
    root @ root.T = (X'X)⁺, ``rows`` (rank, p) spans the estimable functions.
    """

    matrix: ModelMatrix
    origin: float
    y: np.ndarray
    basis: np.ndarray
    root: np.ndarray
    rows: np.ndarray
    coefficients: np.ndarray
    fitted: np.ndarray
    sse: float
    df: int

    @property
    def mse(self) -> float:
        """Residual mean square."""
        return self.sse / self.df

    @property
    def residuals(self) -> np.ndarray:
        """Observed minus fitted, (n,)."""
        return self.y - self.fitted

    @property
    def leverage(self) -> np.ndarray:
        """Diagonal of the hat matrix, (n,)."""
        return np.asarray((self.basis**2).sum(axis=1))

    def estimable(self, L: np.ndarray) -> np.ndarray:
        """Return for each row of ``L`` (m, p) whether the data determine that function."""
        left = L - L @ self.rows.T @ self.rows
        return np.asarray(np.abs(left).max(axis=1) < 1e-8)


def fit(matrix: ModelMatrix, response: np.ndarray) -> Fit:
    """Fit by singular value decomposition, minimum norm where columns are aliased.

    >>> frame = pd.DataFrame({"a": pd.Categorical(["x", "x", "y", "y"])})
    >>> done = fit(model_matrix(frame, ["a"]), np.array([1.0, 3.0, 5.0, 7.0]))
    >>> round(done.sse, 12), done.df
    (4.0, 2)
    """
    origin = float(np.mean(response))
    y = response - origin
    U, size, Vt = np.linalg.svd(matrix.X, full_matrices=False)
    rank = int((size > RANK_TOLERANCE * size[0]).sum())
    U, size, Vt = U[:, :rank], size[:rank], Vt[:rank]
    scores = U.T @ y
    fitted = U @ scores
    residuals = y - fitted
    return Fit(
        matrix=matrix,
        origin=origin,
        y=y,
        basis=U,
        root=Vt.T / size,
        rows=Vt,
        coefficients=(Vt.T / size) @ scores,
        fitted=fitted,
        sse=float(residuals @ residuals),
        df=len(y) - rank,
    )
