"""Shares of one trial: culls out of fruit, infested out of examined plants."""

from trialkit.inference import events, families, plot_counts
from trialkit.inference.design import Design
from trialkit.inference.estimates import ModelResult


def fit_proportions(design: Design, level: float = 0.95) -> ModelResult:
    """Fit ``logit(share) = block + treatment`` to events out of trials, plots varying more or less.

    Means are on the logit scale; their differences are log odds ratios. Differences in percentage
    points: ``standardisation.percentage_points``. Estimates solve the binomial equations
    (McCullagh & Nelder 1989, Generalized Linear Models, ch. 4); the variation between plots is that
    of Williams (1982, Appl. Stat. 31:144), with correlation between the units of one plot, so a
    plot with ten times the fruit does not count ten times. Covariance: ``dispersion.covariance``;
    degrees of freedom of intervals: ``sparse_tables``; p of the treatment test:
    ``randomisation_test``; treatments with nothing, or nothing else: ``bounds``. Raises
    AnalysisError where no comparison is possible.

    >>> import numpy as np, pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> frame = pd.DataFrame({"culls": [12, 3, 20, 5, 9, 4, 15, 4], "fruit": [40] * 8,
    ...                       "cover": ["none", "net"] * 4, "rep": [1, 1, 2, 2, 3, 3, 4, 4]})
    >>> design = make_design(frame, response="culls", trials="fruit", treatment="cover",
    ...                      block="rep", family="proportion", control="none")
    >>> means = fit_proportions(design).means
    >>> float(np.exp(means.estimate[1] - means.estimate[0]).round(3))
    0.199
    """
    return events.analyse(plot_counts.read(design, families.Binomial()), level)
