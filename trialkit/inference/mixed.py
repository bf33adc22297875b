"""Several environments, or a split plot with lost plots, by REML with Kenward-Roger inference.

Why components may fall below zero here: with three environments the usual non-negative estimates
are singular in about 40 % of studies, and Kenward-Roger tests built on them reject a true
hypothesis in 2 to 3 % of cases instead of 5 %. Left free, a balanced study gives exactly the
classical ratio of the treatment mean square to that of treatment by environment, and with lost
plots the error rates stay where they should (the calibration table has the figures). Components
below zero are reported as zero, and a note says so.
"""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.block_algebra import arrange
from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, MarginalMeans, ModelResult
from trialkit.inference.kenward_roger import KenwardRoger
from trialkit.inference.mixed_model import MixedModel, across_models, nested_model, split_plot_model
from trialkit.inference.mixed_notes import method_of, notes_of
from trialkit.inference.reml import RemlFit, identifiable, regular_fits
from trialkit.inference.split_plot_means import Cells, split_plot_means

NO_ERROR = 1e-10


def fit_mixed(
    design: Design,
    level: float = 0.95,
    *,
    site: pd.Series | None = None,
    season: pd.Series | None = None,
    recurring: Sequence[str] | None = None,
) -> ModelResult:
    """Fit treatments over environments (or a split plot) with the rest of the layout random.

    Model: y = treatment + environment + environment:block + environment:treatment + residual, all
    but the treatment random (for a split plot: whole plot, treatment and their interaction fixed,
    or the treatment alone where each belongs to one whole-plot level; block and block:whole plot
    random). Variances by REML (Patterson & Thompson 1971), tests and degrees of freedom after
    Kenward & Roger 1997. ``site`` and ``season`` (labels under the index of ``design.frame``) add
    those two and their interactions with treatment where the data can carry them, as ``recurring``
    names them or else as site_season.py rules. Means are in response units (logarithms for family
    ``lognormal``); ``level`` is taken, as by every fit, and not needed. Raises AnalysisError where
    there is no variation to judge differences by.

    >>> import pandas as pd
    >>> from trialkit.inference.design import make_design
    >>> y = [4.0, 6, 5, 8, 7, 11, 6, 12, 5, 8, 7, 8]
    >>> frame = pd.DataFrame({"y": y, "t": list("AB") * 6, "b": list("1122") * 3,
    ...                       "e": list("ppppqqqqrrrr")})
    >>> done = fit_mixed(make_design(frame, response="y", treatment="t", block="b",
    ...                              environment="e"))
    >>> done.tests.loc[0, ["df1", "df2", "F"]].round(6).tolist()   # MS(t) / MS(e x t)
    [1.0, 2.0, 11.645161]
    """
    model, inference, dropped = _first_sound(design, _models(design, site, season, recurring))
    fit = inference.fit
    return ModelResult(
        family=design.family,
        method=method_of(design, model, fit),
        terms=tuple(model.hypotheses),
        notes=notes_of(design, model, fit, dropped),
        tests=_tests(model, inference),
        means=_means(design, model, inference),
        components={n: max(0.0, float(v)) for n, v in zip(fit.names, fit.components, strict=True)},
        residuals=_residuals(design, model, fit),
        record=_record(fit),
        extra={f"estimate of {n}": float(v) for n, v in zip(fit.names, fit.components, strict=True)}
        | {"restricted_loglik": fit.loglik, "residual_df": _residual_df(inference)},
        further=_further(design, inference),
    )


def _models(
    design: Design,
    site: pd.Series | None,
    season: pd.Series | None,
    recurring: Sequence[str] | None,
) -> list[MixedModel]:
    """Return the models to try, the fullest first."""
    if "whole_plot" in design.frame:
        return [nested_model(design) if design.nested else split_plot_model(design)]
    return across_models(design, site, season, recurring)


def _first_sound(
    design: Design, models: list[MixedModel]
) -> tuple[MixedModel, KenwardRoger, tuple[str, ...]]:
    """Return the first model whose inference holds, that, and the components it had to drop.

    Raises AnalysisError where none does.
    """
    name = design.names["response"]
    for model in models:
        arranged = arrange(model.y, model.x, model.unit, model.factors)
        data, dropped, start = identifiable(arranged)
        inference = _sound_inference(model, regular_fits(data, start))
        if inference is not None:
            return model, inference, dropped
    if is_explained(models[-1]):
        raise AnalysisError(
            f"Column '{name}' leaves no variation between plots to judge differences by. "
            "Check whether the values were computed rather than measured."
        )
    raise AnalysisError(
        f"The variances of '{name}' could not be estimated: too few plots are left for the "
        f"{_places(design)}."
    )


def _places(design: Design) -> str:
    if "environment" in design.frame:
        return "environments and blocks they fell in. Analyse the environments one at a time"
    return "blocks and whole plots they fell in. More blocks are needed"


def _sound_inference(model: MixedModel, fits: Iterable[RemlFit]) -> KenwardRoger | None:
    """Return the inference of the first fit for which it holds, or None."""
    first, second = np.triu_indices(len(model.mean_weights), 1)
    pairs = model.mean_weights[first] - model.mean_weights[second]
    for fit in fits:
        if fit.components[-1] <= NO_ERROR * fit.scale**2:
            break
        inference = KenwardRoger(fit)
        if inference.is_sound(model.hypotheses.values(), pairs):
            return inference
    return None


def is_explained(model: MixedModel) -> bool:
    """Say whether treatments and the factors that plots share leave nothing unexplained."""
    columns = [model.x, *(_indicators(labels) for labels in _coarse(model.factors))]
    matrix = np.column_stack(columns)
    rest = model.y - matrix @ np.linalg.lstsq(matrix, model.y, rcond=None)[0]
    return float(rest @ rest) <= NO_ERROR * float(np.sum((model.y - model.y.mean()) ** 2))


def _coarse(factors: Mapping[str, np.ndarray]) -> list[np.ndarray]:
    """Return the factors other than interactions with treatment, which may fit any table."""
    return [labels for name, labels in factors.items() if not name.endswith(":treatment")]


def _indicators(labels: np.ndarray) -> np.ndarray:
    return (labels[:, None] == np.unique(labels)) * 1.0


def _tests(model: MixedModel, inference: KenwardRoger) -> pd.DataFrame:
    rows = []
    for term, contrasts in model.hypotheses.items():
        test = inference.f_test(contrasts)
        rows.append((term, test.df1, test.df2, test.statistic, test.p))
    return pd.DataFrame(rows, columns=list(TEST_COLUMNS))


def _means(design: Design, model: MixedModel, inference: KenwardRoger) -> MarginalMeans:
    weights, k = model.mean_weights, len(design.treatments)
    first, second = np.triu_indices(k, 1)
    pair_df = np.full((k, k), np.nan)
    pair_df[first, second] = inference.dfs(weights[first] - weights[second])
    pair_df[second, first] = pair_df[first, second]
    return MarginalMeans(
        treatments=design.treatments,
        estimate=weights @ inference.fit.beta,
        covariance=weights @ inference.covariance @ weights.T,
        df=inference.dfs(weights),
        pair_df=pair_df,
        link="log" if design.family == "lognormal" else "identity",
        n=design.frame["treatment"].value_counts(sort=False).to_numpy(),
    )


def _residual_df(inference: KenwardRoger) -> float:
    """Return 2 s^4 over the variance of the residual component s²."""
    spread = float(inference.component_covariance[-1, -1])
    return 2 * float(inference.fit.at.theta[-1]) ** 2 / spread


def _further(design: Design, inference: KenwardRoger) -> dict[str, MarginalMeans]:
    """Return means of whole-plot levels and cells; a split plot's fixed effects are its cells."""
    if "whole_plot" not in design.frame or design.nested:
        return {}
    cells = Cells(inference.fit.beta, inference.covariance, inference.dfs)
    return split_plot_means(design, cells)


def _residuals(design: Design, model: MixedModel, fit: RemlFit) -> pd.DataFrame:
    """Return what is left after fixed effects and predicted random effects, with leverages.

    The residual is s V^-1 (y - X beta) with s the residual component, and the leverage of a plot
    one minus s times its diagonal entry of P.
    """
    n = len(model.y)
    error, leverage = np.empty(n + 1), np.empty(n + 1)  # the last takes what idle rows hold
    rest = np.append((model.y - model.x @ fit.beta) / fit.scale, 0.0)
    for weights, stack in zip(fit.weights(), fit.data.stacks, strict=True):
        wx = weights @ stack.x
        projected = np.einsum("uii->ui", weights) - np.einsum("uia,ab,uib->ui", wx, fit.at.phi, wx)
        error[stack.rows] = np.einsum("uij,uj->ui", weights[stack.kind], rest[stack.rows])
        leverage[stack.rows] = projected[stack.kind]
    residual = fit.components[-1] / fit.scale * error[:n]
    leverage = 1 - fit.components[-1] / fit.scale**2 * leverage[:n]
    frame = {"row": design.frame.index, "fitted": model.y - residual, "residual": residual}
    return pd.DataFrame(frame | {"leverage": leverage})


def _record(fit: RemlFit) -> dict[str, object]:
    estimates = {n: float(v) for n, v in zip(fit.names, fit.components, strict=True)}
    return fit.record.as_dict() | {"estimates": estimates}
