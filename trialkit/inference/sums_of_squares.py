"""Tests of the terms of a linear model: sums of squares of Type II and Type III, and F tests."""

from typing import Literal

import numpy as np
import pandas as pd
from scipy import special

from trialkit.inference.estimates import TEST_COLUMNS
from trialkit.inference.least_squares import RANK_TOLERANCE, Fit

Sums = Literal["II", "III"]


def term_basis(fit: Fit, term: str, sums: Sums = "II") -> np.ndarray:
    """Return an orthonormal basis (n, df) of what ``term`` adds to the terms it is judged after.

    Type II: after all terms that do not contain it. Type III: after all other terms. The squared
    length of the response's projection on it is the sum of squares of the term.
    """
    matrix = fit.matrix
    others = [
        name
        for name in matrix.columns
        if name != term and (sums == "III" or not _contains(name, term))
    ]
    kept = _orthonormal(matrix.of(*others))
    added = matrix.of(term)
    for _ in range(2):
        added = added - kept @ (kept.T @ added)
    return _orthonormal(added, float(np.linalg.norm(matrix.of(term))))


def _contains(larger: str, smaller: str) -> bool:
    return set(smaller.split(":")) < set(larger.split(":"))


def _orthonormal(X: np.ndarray, scale: float | None = None) -> np.ndarray:
    U, size, _ = np.linalg.svd(X, full_matrices=False)
    return np.asarray(U[:, size > RANK_TOLERANCE * (size[0] if scale is None else scale)])


def term_tests(fit: Fit, sums: Sums = "II") -> pd.DataFrame:
    """Test each term of a linear model against the residual mean square.

    F = (SS_term / df_term) / (SS_residual / df_residual), judged on the F distribution; Type II
    and III as in Searle (1971), Linear Models, and Yates (1934), J. Am. Stat. Assoc. 29:51.
    Returns a frame with TEST_COLUMNS and ``sum_sq``. The two types differ only where the model
    has interactions and cells of unequal size.

    >>> from trialkit.inference.least_squares import fit, model_matrix
    >>> frame = pd.DataFrame({"a": pd.Categorical(["x", "x", "y", "y"])})
    >>> table = term_tests(fit(model_matrix(frame, ["a"]), np.array([1.0, 3.0, 5.0, 7.0])))
    >>> [(row.term, row.df1, row.df2, round(row.F, 10)) for row in table.itertuples()]
    [('a', 1.0, 2.0, 8.0)]
    """
    rows = []
    for term in fit.matrix.columns:
        if term != "1":
            basis = term_basis(fit, term, sums)
            rows.append((term, basis.shape[1], float(((basis.T @ fit.y) ** 2).sum())))
    return f_tests(rows, fit.mse, fit.df)


def f_tests(rows: list[tuple[str, int, float]], mean_square: float, df: float) -> pd.DataFrame:
    """Return the frame of F tests for (term, df, sum of squares) against one error stratum."""
    terms, freedom, squares = zip(*rows, strict=True)
    df1, sum_sq = np.array(freedom, dtype=float), np.array(squares, dtype=float)
    statistic = sum_sq / df1 / mean_square
    df2 = np.full(len(df1), float(df))
    tail = special.fdtrc(df1, df2, statistic)
    values = (list(terms), df1, df2, statistic, tail, sum_sq)
    return pd.DataFrame(dict(zip((*TEST_COLUMNS, "sum_sq"), values, strict=True)))
