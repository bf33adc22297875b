"""Estimated marginal means: what the treatments would average if every block held all of them."""

import numpy as np

from trialkit.inference.estimates import Link, MarginalMeans
from trialkit.inference.least_squares import Fit, grid_row


def linear_means(fit: Fit, factor: str = "treatment", link: Link = "identity") -> MarginalMeans:
    """Return the marginal means of a factor in a least-squares fit.

    Mean i is L_i b with L_i averaging evenly over the levels of the other factors (Searle, Speed &
    Milliken 1980, Am. Stat. 34:216); covariance MSE · L (X'X)⁺ L'. A mean that the data do not
    determine (an empty cell of an interaction) is NaN; ``unestimable`` names it.

    >>> import pandas as pd
    >>> from trialkit.inference.least_squares import fit, model_matrix
    >>> frame = pd.DataFrame({"block": pd.Categorical(["1", "1", "2", "2", "3"]),
    ...                       "treatment": pd.Categorical(["A", "B", "A", "B", "A"])})
    >>> y = np.array([1.0, 3.0, 2.0, 6.0, 6.0])
    >>> linear_means(fit(model_matrix(frame, ["block", "treatment"]), y)).estimate
    array([3., 6.])
    """
    levels = fit.matrix.levels[factor]
    L = np.array([grid_row(fit.matrix, {factor: level}) for level in levels])
    known = fit.estimable(L)
    estimate = np.where(known, L @ fit.coefficients + fit.origin, np.nan)
    half = np.where(known[:, None], L @ fit.root, np.nan)
    k = len(levels)
    return MarginalMeans(
        treatments=levels,
        estimate=estimate,
        covariance=fit.mse * half @ half.T,
        df=np.full(k, float(fit.df)),
        pair_df=np.full((k, k), float(fit.df)),
        link=link,
        n=_observations(fit, factor),
    )


def _observations(fit: Fit, factor: str) -> np.ndarray:
    rows = fit.matrix.of(factor)
    levels = fit.matrix.levels[factor]
    coded = np.array(
        [grid_row(fit.matrix, {factor: x})[fit.matrix.columns[factor]] for x in levels]
    )
    return np.array([int((rows == code).all(axis=1).sum()) for code in coded])


def unestimable(means: MarginalMeans) -> tuple[str, ...]:
    """Return a sentence for each treatment whose mean the data do not determine."""
    return tuple(
        f"The mean of '{label}' cannot be estimated: some combination of factors that it averages "
        "over has no plot left. Compare within the combinations that are present."
        for label, value in zip(means.treatments, means.estimate, strict=True)
        if not np.isfinite(value)
    )
