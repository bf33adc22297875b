"""The negative binomial with k by maximum likelihood: a second opinion on clumped counts.

It is not the default. With few blocks k is estimated too large and is then taken as known: in 2,000
simulated trials of 4 blocks × 5 treatments with mean 30 and k 0.8, even with k by moments and t
reference its 95 % intervals held 88 %, where those of ``counts`` hold 95 %.
"""

from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from trialkit.errors import AnalysisError
from trialkit.inference import families, glm, plot_counts, treatment_model
from trialkit.inference.design import Design
from trialkit.inference.families import NegativeBinomial

RANGE = (-7.0, 14.0)


@dataclass(frozen=True)
class NegativeBinomialFit:
    """Fit of one trial: ``k`` with its standard error, log mean of each treatment, covariance.

    log_likelihood is at the maximum; matrix_rank the number of coefficients.
    """

    treatments: tuple[str, ...]
    k: float
    k_se: float
    estimate: np.ndarray
    covariance: np.ndarray
    log_likelihood: float
    matrix_rank: int

    @property
    def aic(self) -> float:
        """Akaike's criterion, k counted as one parameter."""
        return 2 * (self.matrix_rank + 1) - 2 * self.log_likelihood


def fit_negative_binomial(design: Design) -> NegativeBinomialFit:
    """Fit block + treatment with variance ``m + m² / k``, k by maximum likelihood.

    The coefficients are profiled out for each k (Lawless 1987, Can. J. Stat. 15:209); their
    covariance takes k as known, and the standard error of k comes from its own information, as in
    MASS::glm.nb (Venables & Ripley 2002, Modern Applied Statistics with S, sec. 7.4). Raises
    AnalysisError where a treatment or block has no insect, where counts are not whole, and where
    they are no more variable than Poisson, so that k has no finite estimate.

    >>> import pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> frame = pd.DataFrame({"beetles": [2, 4, 9, 1, 20, 3, 1, 8], "cover": ["none", "net"] * 4})
    >>> design = make_design(frame, response="beetles", treatment="cover", family="count")
    >>> found = fit_negative_binomial(design)
    >>> found.treatments, np.exp(found.estimate).round(3).tolist(), round(found.k, 2)
    (('net', 'none'), [4.0, 8.0], 1.67)
    """
    plots = plot_counts.read(design, families.Poisson())
    if not plots.whole:
        raise AnalysisError("The negative binomial is for whole counts. Use the default model.")
    if not treatment_model.informative(plots.layout, plots.response, None).all():
        raise AnalysisError(
            "A treatment or block has no insect at all, so the negative binomial has no finite "
            "estimate. The default model gives a bound."
        )
    matrix, response = plots.layout.matrix(), plots.response[None]
    treatment_model.check_rank(matrix)
    k = _most_likely_k(matrix, response, plots.size)
    fitted = glm.fit(NegativeBinomial(k=k), matrix, response, plots.size)
    inside = slice(0, len(plots.treatments))
    return NegativeBinomialFit(
        treatments=plots.treatments,
        k=k,
        k_se=_standard_error(k, response[0], fitted.mean[0]),
        estimate=fitted.coefficients[0, inside],
        covariance=fitted.inverse[0, inside, inside],
        log_likelihood=NegativeBinomial(k=k).log_likelihood(response[0], fitted.mean[0]),
        matrix_rank=matrix.shape[1],
    )


def _most_likely_k(matrix: np.ndarray, response: np.ndarray, size: np.ndarray) -> float:
    def slope(log_k: float) -> float:
        family = NegativeBinomial(k=float(np.exp(log_k)))
        mean = glm.fit(family, matrix, response, size).mean[0]
        return _score(family.k, response[0], mean)

    low, high = RANGE
    if slope(high) >= 0:
        raise AnalysisError(
            "The counts vary no more than chance alone makes them vary, so clumping k has no "
            "finite estimate. Use the default model."
        )
    return float(np.exp(optimize.brentq(slope, low, high, xtol=1e-12, rtol=1e-14)))


def _score(k: float, response: np.ndarray, mean: np.ndarray) -> float:
    """Return the derivative of the log likelihood by k."""
    terms = (
        special.digamma(response + k) - special.digamma(k)
        + np.log(k / (k + mean)) + 1 - (response + k) / (k + mean)
    )  # fmt: skip
    return float(terms.sum())


def _standard_error(k: float, response: np.ndarray, mean: np.ndarray) -> float:
    curvature = (
        special.polygamma(1, k) - special.polygamma(1, response + k)
        - 1 / k + 2 / (mean + k) - (response + k) / (mean + k) ** 2
    )  # fmt: skip
    return float(1 / np.sqrt(curvature.sum()))
