"""One site-season, continuous response: completely randomised, blocks, Latin square, split plot."""

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference import least_squares, split_plot
from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, ModelResult
from trialkit.inference.least_squares import Fit
from trialkit.inference.marginal_means import linear_means, unestimable
from trialkit.inference.sums_of_squares import Sums, term_tests

LOG_NOTE = (
    "Analysed on the logarithmic scale: means are geometric means, and differences between "
    "treatments are ratios."
)


def fit_linear(design: Design, sums: Sums = "II") -> ModelResult:
    """Fit the linear model of a design by least squares (split plots: by error strata).

    Model y = blocking terms + treatment + error, errors independent with equal variance; F tests
    of ``sums`` "II" or "III"; marginal means with the residual degrees of freedom (Searle 1971,
    Linear Models). A lost plot needs no filling in: the means are adjusted for the blocks. A split
    plot with lost plots goes to the mixed model instead. Raises AnalysisError where no degrees of
    freedom are left for error, or no error is left.

    >>> from trialkit.inference.design import make_design
    >>> y = [4.0, 6.0, 8.0, 7.0, 11.0, 12.0]
    >>> frame = pd.DataFrame({"y": y, "t": list("AB") * 3, "b": list("112233")})
    >>> done = fit_linear(make_design(frame, response="y", treatment="t", block="b"))
    >>> done.means.estimate.round(6).tolist(), round(float(done.tests["F"].iloc[1]), 6)
    ([7.666667, 8.333333], 0.571429)
    """
    if "whole_plot" in design.frame:
        return split_plot.fit_split_plot(design)
    fit = fit_design(design)
    means = linear_means(fit, "treatment", "log" if design.family == "lognormal" else "identity")
    return ModelResult(
        family=design.family,
        method=_method(design, sums),
        terms=tuple(term for term in fit.matrix.columns if term != "1"),
        notes=(*notes_of(design), *unestimable(means)),
        tests=term_tests(fit, sums)[list(TEST_COLUMNS)],
        means=means,
        components={"residual": fit.mse},
        residuals=_residuals(design, fit),
        extra=_extra(design, fit),
    )


def blocking_terms(design: Design) -> tuple[str, ...]:
    """Return the blocking factors that the design has."""
    return tuple(role for role in ("block", "row", "column") if role in design.frame)


def working_response(design: Design) -> np.ndarray:
    """Return the response on the scale that is analysed, (n,): its logarithm for ``lognormal``."""
    response = design.frame["response"].to_numpy(dtype=float)
    return np.log(response) if design.family == "lognormal" else response


def fit_design(design: Design) -> Fit:
    """Return the least-squares fit of blocking terms + treatment, checked for an error term."""
    terms = [*blocking_terms(design), "treatment"]
    matrix = least_squares.model_matrix(design.frame, terms)
    fit = least_squares.fit(matrix, working_response(design))
    name = design.names["response"]
    if fit.df < 1:
        raise AnalysisError(
            f"With {len(design.frame)} plots of '{name}', {' + '.join(terms)} leaves no degrees of "
            "freedom for the error. More replicates are needed, or fewer terms."
        )
    if fit.sse <= 1e-24 * float(fit.y @ fit.y):
        raise AnalysisError(
            f"Column '{name}' follows {' + '.join(terms)} exactly and leaves no variation to judge "
            "differences by. Check whether the values were computed rather than measured."
        )
    return fit


def _method(design: Design, sums: Sums) -> str:
    terms = " + ".join([*blocking_terms(design), "treatment"])
    scale = "the logarithm of the response" if design.family == "lognormal" else "the response"
    return (
        f"Linear model of {scale} on {terms} ({design.kind} design), least squares; Type {sums} F "
        "tests; estimated marginal means with the residual degrees of freedom"
    )


def notes_of(design: Design) -> tuple[str, ...]:
    """Return what a reader must know of the scale and of lost plots."""
    notes = [LOG_NOTE] if design.family == "lognormal" else []
    lost, total = len(design.dropped), design.rows
    if lost:
        adjusted = (
            " The means are adjusted for the blocks they fell in." if _blocked(design) else ""
        )
        notes.append(f"{lost} of {total} plots are left out.{adjusted}")
    return tuple(notes)


def _blocked(design: Design) -> bool:
    return bool(blocking_terms(design))


def _residuals(design: Design, fit: Fit) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "row": design.frame.index,
            "fitted": fit.fitted + fit.origin,
            "residual": fit.residuals,
            "leverage": fit.leverage,
        }
    )


def _extra(design: Design, fit: Fit) -> dict[str, float]:
    numbers = {"mse": fit.mse, "df_residual": float(fit.df), "grand_mean": fit.origin}
    if design.family == "normal" and fit.origin > 0:
        numbers["cv_percent"] = 100 * float(np.sqrt(fit.mse)) / fit.origin
    return numbers
