"""What a mixed model is made of: responses, fixed-effect rows, random factors and hypotheses."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.design import Design
from trialkit.inference.preliminary_test import cell_means, interaction_p
from trialkit.inference.site_season import site_season_choices


@dataclass(frozen=True)
class MixedModel:
    """A mixed model of n plots with p fixed effects and k treatments, before it is fitted.

    y            : (n,) responses on the analysed scale.
    x            : (n, p) indicators of the cells of the fixed part.
    unit         : (n,) which plots may be correlated.
    factors      : component name -> (n,) labels that share a random effect.
    hypotheses   : term -> (l, p) contrasts that are zero if the term has no effect.
    mean_weights : (k, p) weights that make the marginal means.
    left_out     : sentences on random terms that are not in the model, and why.
    """

    y: np.ndarray
    x: np.ndarray
    unit: np.ndarray
    factors: Mapping[str, np.ndarray]
    hypotheses: Mapping[str, np.ndarray]
    mean_weights: np.ndarray
    left_out: tuple[str, ...] = ()


def across_model(design: Design) -> MixedModel:
    """Return the model of treatments over environments, no environment tied to another."""
    return across_models(design)[0]


def across_models(
    design: Design,
    site: pd.Series | None = None,
    season: pd.Series | None = None,
    recurring: Sequence[str] | None = None,
) -> list[MixedModel]:
    """Return the models of treatments over environments to try, the fullest first.

    With ``site`` and ``season`` they hold those and their interactions with treatment, as
    ``recurring`` names them or, without it, as site_season.py rules; the last model is that of
    environments alone.
    """
    frame = design.frame
    y, environment = _response(design), _codes(frame["environment"])
    treatment, k = _codes(frame["treatment"]), len(design.treatments)
    block = _codes(frame["block"]) if "block" in frame else None
    factors = {"environment": environment}
    if block is not None:
        factors["environment:block"] = _crossed(environment, block)
    factors["environment:treatment"] = _crossed(environment, treatment)
    named = {"site": site, "season": season}
    given = {name: _labels(column, frame) for name, column in named.items() if column is not None}

    def showing(tested: np.ndarray, kept: np.ndarray) -> float:
        table = cell_means(y, environment, treatment, block)
        first = np.unique(environment, return_index=True)[1]
        return interaction_p(table, tested[first], [kept[first]])

    identity = np.eye(k)
    return [
        MixedModel(
            y=y,
            x=identity[treatment],
            unit=wider.unit,
            factors={**wider.factors, **factors},
            hypotheses={"treatment": _differences(k)},
            mean_weights=identity,
            left_out=wider.left_out,
        )
        for wider in site_season_choices(environment, treatment, given, showing, recurring)
    ]


def split_plot_model(design: Design) -> MixedModel:
    """Return the model of a split plot: cells of whole-plot level and treatment, blocks random."""
    frame = design.frame
    block, whole, sub = (_codes(frame[role]) for role in ("block", "whole_plot", "treatment"))
    a, b = len(frame["whole_plot"].cat.categories), len(design.treatments)
    cell = whole * b + sub
    _check_cells(design, np.bincount(cell, minlength=a * b).reshape(a, b))
    level_mean, sub_mean = np.full((1, a), 1 / a), np.full((1, b), 1 / b)
    return MixedModel(
        y=_response(design),
        x=np.eye(a * b)[cell],
        unit=block,
        factors={"block": block, "block:whole_plot": _crossed(block, whole)},
        hypotheses={
            "whole_plot": np.kron(_differences(a), sub_mean),
            "treatment": np.kron(level_mean, _differences(b)),
            "whole_plot:treatment": np.kron(_differences(a), _differences(b)),
        },
        mean_weights=np.kron(level_mean, np.eye(b)),
    )


def nested_model(design: Design) -> MixedModel:
    """Return the model of a split plot whose treatments each belong to one whole-plot level.

    Blocks and whole plots (level within block) are random, so a difference on one level rests on
    the residual, and one between levels on whole plots and residual together. Whole plots of a
    single plot each are plots, and have no variance of their own.
    """
    frame, k = design.frame, len(design.treatments)
    block, whole = _codes(frame["block"]), _codes(frame["whole_plot"])
    own = _crossed(block, whole)
    single = len(np.unique(own)) == len(own)
    return MixedModel(
        y=_response(design),
        x=np.eye(k)[_codes(frame["treatment"])],
        unit=block,
        factors={"block": block} if single else {"block": block, "block:whole_plot": own},
        hypotheses={"treatment": _differences(k)},
        mean_weights=np.eye(k),
    )


def _check_cells(design: Design, plots: np.ndarray) -> None:
    empty = np.argwhere(plots == 0)
    if len(empty):
        level = design.frame["whole_plot"].cat.categories[empty[0][0]]
        raise AnalysisError(
            f"Treatment '{design.treatments[empty[0][1]]}' has no plot left under "
            f"{design.names['whole_plot']} '{level}', so its average over the levels cannot be "
            f"formed. Leave that treatment or that level of '{design.names['whole_plot']}' out."
        )


def _response(design: Design) -> np.ndarray:
    response = design.frame["response"].to_numpy(dtype=float)
    return np.log(response) if design.family == "lognormal" else response


def _codes(factor: pd.Series) -> np.ndarray:
    return factor.cat.codes.to_numpy().astype(np.int64)


def _labels(column: pd.Series, frame: pd.DataFrame) -> np.ndarray:
    """Return codes of ``column`` for the rows of ``frame``, found by their index."""
    return pd.factorize(column.reindex(frame.index).astype(str))[0].astype(np.int64)


def _crossed(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    return first * (int(second.max()) + 1) + second


def _differences(k: int) -> np.ndarray:
    """Return (k - 1, k) contrasts of the first level with each other one."""
    return np.column_stack([np.ones(k - 1), -np.eye(k - 1)])
