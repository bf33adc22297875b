"""Many responses of one design at once: F tests and contrasts as arrays, for simulation."""

from dataclasses import dataclass

import numpy as np
from scipy import special

from trialkit.inference.design import Design
from trialkit.inference.least_squares import Fit, grid_row
from trialkit.inference.linear import fit_design
from trialkit.inference.sums_of_squares import term_basis


@dataclass(frozen=True)
class BatchFit:
    """Least squares of N responses on one design with k treatments.

    p               : (N,) p values of the F test of treatments.
    differences     : (N, k - 1) each later treatment minus the first (the check, if any).
    standard_errors : (N, k - 1) theirs, unadjusted.
    df              : residual degrees of freedom, common to all.
    """

    p: np.ndarray
    differences: np.ndarray
    standard_errors: np.ndarray
    df: int


def batch_fit(design: Design, responses: np.ndarray) -> BatchFit:
    """Fit every row of ``responses`` (N, plots), in the order of ``design.frame``.

    The same model, tests and differences as ``linear.fit_linear``, from one decomposition of the
    design: F = |Q'y|² / df1 over (|y|² - |U'y|²) / df, y freed of its mean. Not for split plots.

    >>> import pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> y = [4.0, 6.0, 8.0, 7.0, 11.0, 12.0]
    >>> frame = pd.DataFrame({"y": y, "t": list("ABABAB"), "b": list("112233")})
    >>> design = make_design(frame, response="y", treatment="t", block="b")
    >>> batch_fit(design, np.array([y])).differences.round(6)
    array([[0.666667]])
    """
    fit = fit_design(design)
    y = responses - responses.mean(axis=1, keepdims=True)
    residuals = y - (y @ fit.basis) @ fit.basis.T
    mse = (residuals**2).sum(axis=1) / fit.df
    basis = term_basis(fit, "treatment")
    F = ((y @ basis) ** 2).sum(axis=1) / basis.shape[1] / mse
    weights, unit_variance = _against_first(fit)
    return BatchFit(
        p=special.fdtrc(basis.shape[1], fit.df, F),
        differences=y @ weights,
        standard_errors=np.sqrt(np.outer(mse, unit_variance)),
        df=fit.df,
    )


def _against_first(fit: Fit) -> tuple[np.ndarray, np.ndarray]:
    """Return plot weights (n, k - 1) of the differences, and their variances in units of MSE."""
    levels = fit.matrix.levels["treatment"]
    L = np.array([grid_row(fit.matrix, {"treatment": label}) for label in levels])
    half = (L[1:] - L[0]) @ fit.root
    return fit.basis @ half.T, (half**2).sum(axis=1)
