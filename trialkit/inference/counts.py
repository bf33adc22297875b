"""Counts of one trial: insects per plot, insect-days, damaged leaves."""

from trialkit.inference import events, families, plot_counts
from trialkit.inference.design import Design
from trialkit.inference.estimates import ModelResult


def fit_counts(design: Design, level: float = 0.95) -> ModelResult:
    """Fit ``log(mean / exposure) = block + treatment`` to counts of clumped insects.

    Means are on the log scale; their differences are log ratios, and ``100 (1 - ratio)`` is the
    percent reduction. The estimates solve the Poisson equations (McCullagh & Nelder 1989,
    Generalized Linear Models, ch. 6), so with all plots present a ratio is that of two totals.
    Covariance: see ``dispersion.covariance``; degrees of freedom of intervals: ``sparse_tables``;
    p of the treatment test: ``randomisation_test``; treatments without any insect: ``bounds``.
    Raises AnalysisError where no comparison is possible.

    >>> import numpy as np, pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> frame = pd.DataFrame({"beetles": [12.0, 3, 20, 5, 9, 4, 15, 4],
    ...                       "cover": ["none", "net"] * 4, "rep": [1, 1, 2, 2, 3, 3, 4, 4]})
    >>> design = make_design(frame, response="beetles", treatment="cover", block="rep",
    ...                      family="count", control="none")
    >>> means = fit_counts(design).means
    >>> float(np.exp(means.estimate[1] - means.estimate[0]).round(4)), round(16 / 56, 4)
    (0.2857, 0.2857)
    """
    return events.analyse(plot_counts.read(design, families.Poisson()), level)
