"""Counts and shares of one trial: from plots to means, bounds, tests and notes.

The model is block + treatment on the log or logit scale. What the textbook says of it fails with
three to six blocks of clumped insects, so four things differ from the usual quasi-likelihood fit;
each was chosen by the calibration benchmark and is described where it is done: standard errors
(``dispersion``), degrees of freedom of intervals where insects are few (``sparse_tables``), the
reference of the treatment test (``randomisation_test``) and what is said of a treatment without any
insect (``bounds``).
"""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from trialkit.inference import extremes, glm, nothing_found, treatment_model
from trialkit.inference.equal_treatments import TreatmentTest, compare_treatments
from trialkit.inference.estimates import TEST_COLUMNS, MarginalMeans, ModelResult
from trialkit.inference.event_notes import notes_of
from trialkit.inference.extremes import TrialFit
from trialkit.inference.plot_counts import PlotCounts


def analyse(plots: PlotCounts, level: float) -> ModelResult:
    """Fit one trial of counts or shares. Raises AnalysisError where nothing can be compared."""
    if nothing_found.side_of_all(plots):
        return nothing_found.only_bounds(plots, level)
    fit = fit_trial(plots)
    estimate, covariance = extremes.means(plots, fit)
    bounds = extremes.find_bounds(plots, fit, level)
    test = compare_treatments(plots, estimate, covariance, fit.model.df)
    return ModelResult(
        family="proportion" if plots.is_share else "count",
        method=method_of(plots),
        terms=(*plots.names, "treatment"),
        notes=notes_of(plots, fit, test, bounds),
        tests=_tests(test),
        means=_means(plots, estimate, covariance, float(fit.model.interval_df[0])),
        bounds=bounds,
        residuals=_residuals(plots, fit),
        record=_record(fit, test),
        extra=_extra(plots, fit, test),
    )


def fit_trial(plots: PlotCounts) -> TrialFit:
    """Fit the plots with information; where these are too few, all plots by a penalised fit."""
    chosen = treatment_model.select(plots.layout, plots.response, plots.top)
    kept = chosen.kept
    model = treatment_model.fit(
        plots.family, chosen.layout, plots.response[None, kept], plots.size[kept],
        whole=plots.whole, penalised=chosen.penalised,
    )  # fmt: skip
    return TrialFit(model, kept, np.unique(plots.layout.treatment[kept]), chosen.penalised)


def method_of(plots: PlotCounts) -> str:
    """Return the name of the method in words."""
    if plots.is_share:
        return "logit-link quasi-likelihood, variation between plots estimated, t and F reference"
    return "log-link quasi-likelihood, variation between plots estimated, t and F reference"


def _means(
    plots: PlotCounts, estimate: np.ndarray, covariance: np.ndarray, df: float
) -> MarginalMeans:
    k = len(estimate)
    return MarginalMeans(
        treatments=plots.treatments,
        estimate=estimate,
        covariance=covariance,
        df=np.full(k, df),
        pair_df=np.full((k, k), df),
        link="logit" if plots.is_share else "log",
        n=np.bincount(plots.layout.treatment, minlength=k),
    )


def _tests(test: TreatmentTest) -> pd.DataFrame:
    row = ("treatment", test.df1, test.df2, test.F, test.p)
    return pd.DataFrame([row], columns=list(TEST_COLUMNS))


def _residuals(plots: PlotCounts, fit: TrialFit) -> pd.DataFrame:
    """Return Pearson residuals, in standard deviations of a plot."""
    model, kept = fit.model, fit.kept
    mean, size = model.fitted.mean[0], plots.size[kept]
    found = model.dispersion
    spread = found.phi[0] + found.clumping[0] * plots.family.spread(mean, size)
    variance = plots.family.variance(mean, size) * spread
    hat = glm.leverage(model.matrix, model.fitted.weight, model.fitted.inverse)[0]
    return pd.DataFrame({
        "row": plots.rows[kept],
        "fitted": mean,
        "residual": (plots.response[kept] - mean) / np.sqrt(variance),
        "leverage": hat,
    })  # fmt: skip


def _record(fit: TrialFit, test: TreatmentTest) -> Mapping[str, object]:
    return {
        "steps": fit.model.fitted.steps,
        "converged": bool(fit.model.fitted.converged.all()),
        "penalised": bool(fit.model.penalised.any()),
        "plots_in_model": int(fit.kept.sum()),
        "randomisation": test.randomisation.words,
    }


def _extra(plots: PlotCounts, fit: TrialFit, test: TreatmentTest) -> Mapping[str, float]:
    model, found = fit.model, fit.model.dispersion
    response, size = plots.response[None, fit.kept], plots.size[fit.kept]
    extra = {
        "dispersion": float(found.pearson[0]),
        "clumping": float(found.clumping[0]),
        "deviance": float(plots.family.deviance(response, model.fitted.mean, size)[0]),
        "residual_df": float(model.df),
        "interval_df": float(model.interval_df[0]),
        "p_model": test.model_p,
        "p_randomisation": test.randomisation.p,
        "arrangements": float(test.randomisation.arrangements),
    }
    if found.clumping[0] > 0 and not plots.is_share:
        extra["k"] = 1 / extra["clumping"]
    return extra
