"""Split plots: two error strata, exact where balanced; with lost plots the mixed model."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference import linear
from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, MarginalMeans, ModelResult
from trialkit.inference.mixed import fit_mixed
from trialkit.inference.split_plot_means import Cells, split_plot_means, stratum_cells
from trialkit.inference.sums_of_squares import f_tests

TERMS = ("whole_plot", "treatment", "whole_plot:treatment")


@dataclass(frozen=True)
class Strata:
    """A balanced split plot of r blocks × a whole-plot levels × b sub-plot treatments.

    ``y`` (r, a, b) is measured from ``origin``; ``ss`` and ``df`` hold the sum of squares and the
    degrees of freedom of ``block``, the three TERMS, ``whole_plot_error`` and ``sub_plot_error``.
    """

    y: np.ndarray
    origin: float
    ss: dict[str, float]
    df: dict[str, int]

    def mean_square(self, name: str) -> float:
        """Sum of squares over degrees of freedom."""
        return self.ss[name] / self.df[name]


def fit_split_plot(design: Design) -> ModelResult:
    """Analyse a split plot: whole-plot factor and sub-plot treatment, each with its own error.

    Balanced: the whole-plot factor is judged against block × whole plot, the treatment and its
    interaction against the residual (Yates 1935, Suppl. J. R. Stat. Soc. 2:181). Components come
    from the mean squares; negative ones are reported as they are. Marginal means have blocks
    random, with Satterthwaite's degrees of freedom (Satterthwaite 1946, Biometrics 2:110).
    With lost plots, or where each treatment belongs to one whole-plot level: restricted maximum
    likelihood with Kenward-Roger degrees of freedom.
    """
    if design.nested or not is_balanced(design.frame):
        return fit_mixed(design)
    strata = split_strata(design)
    return ModelResult(
        family=design.family,
        method="Split plot in randomised complete blocks, analysed by error strata: the whole-plot "
        "factor against block × whole plot, the treatment and the interaction against the "
        "sub-plot residual",
        terms=TERMS,
        notes=_notes(design, strata),
        tests=split_tests(strata),
        means=treatment_means(design, strata),
        components=components(strata),
        residuals=_residuals(design, strata),
        extra={
            "mse": strata.mean_square("sub_plot_error"),
            "df_residual": float(strata.df["sub_plot_error"]),
            "grand_mean": strata.origin,
        },
        further=split_plot_means(design, _cells(strata)),
    )


def _cells(strata: Strata) -> Cells:
    errors = ("block", "whole_plot_error", "sub_plot_error")
    return stratum_cells(
        strata.y.mean(axis=0) + strata.origin,
        len(strata.y),
        np.array([strata.mean_square(name) for name in errors]),
        np.array([strata.df[name] for name in errors], dtype=float),
    )


def is_balanced(frame: pd.DataFrame) -> bool:
    """Whether every block holds every combination of whole-plot level and treatment once."""
    sizes = [len(frame[role].cat.categories) for role in ("block", "whole_plot", "treatment")]
    return len(frame) == int(np.prod(sizes))


def split_strata(design: Design) -> Strata:
    """Partition the sum of squares of a balanced split plot."""
    order = design.frame[["block", "whole_plot", "treatment"]].apply(lambda c: c.cat.codes)
    shape = tuple(int(order[role].max()) + 1 for role in order)
    values = np.empty(shape)
    values[tuple(order[role].to_numpy() for role in order)] = linear.working_response(design)
    origin = float(values.mean())
    r, a, b = shape
    effects = _effects(values - origin)
    ss = {
        name: float((effect**2).sum()) * values.size / effect.size
        for name, effect in effects.items()
    }
    df = {"block": r - 1, "whole_plot": a - 1, "whole_plot_error": (r - 1) * (a - 1),
          "treatment": b - 1, "whole_plot:treatment": (a - 1) * (b - 1),
          "sub_plot_error": a * (r - 1) * (b - 1)}  # fmt: skip
    if ss["sub_plot_error"] <= 1e-24 * float(((values - origin) ** 2).sum()):
        raise AnalysisError(
            f"Column '{design.names['response']}' leaves no variation between sub-plots to judge "
            "differences by. Check whether the values were computed rather than measured."
        )
    return Strata(values - origin, origin, ss, df)


def _effects(y: np.ndarray) -> dict[str, np.ndarray]:
    """Return the effects of each line of the table, each broadcastable to ``y`` (r, a, b)."""
    block = y.mean(axis=(1, 2), keepdims=True)
    whole = y.mean(axis=(0, 2), keepdims=True)
    sub = y.mean(axis=(0, 1), keepdims=True)
    whole_error = y.mean(axis=2, keepdims=True) - block - whole
    both = y.mean(axis=0, keepdims=True) - whole - sub
    rest = y - block - whole - sub - whole_error - both
    return {"block": block, "whole_plot": whole, "treatment": sub, "whole_plot_error": whole_error,
            "whole_plot:treatment": both, "sub_plot_error": rest}  # fmt: skip


def split_tests(strata: Strata) -> pd.DataFrame:
    """Return the F tests of the three terms, each against its own stratum (TEST_COLUMNS)."""
    parts = []
    for term in TERMS:
        error = "whole_plot_error" if term == "whole_plot" else "sub_plot_error"
        row = [(term, strata.df[term], strata.ss[term])]
        parts.append(f_tests(row, strata.mean_square(error), strata.df[error]))
    return pd.concat(parts, ignore_index=True)[list(TEST_COLUMNS)]


def components(strata: Strata) -> dict[str, float]:
    """Return the variance components that equate mean squares with their expectations.

    Expectations: residual σ²; block × whole plot σ² + b σ²_w; block σ² + b σ²_w + ab σ²_block.
    """
    _, a, b = strata.y.shape
    block, whole, rest = map(strata.mean_square, ("block", "whole_plot_error", "sub_plot_error"))
    return {
        "block": (block - whole) / (a * b),
        "block:whole_plot": (whole - rest) / b,
        "residual": rest,
    }


def treatment_means(design: Design, strata: Strata) -> MarginalMeans:
    """Return the sub-plot treatment means over all whole-plot levels.

    Variance of a mean: (MS_block + (b - 1) MS_residual) / rab; of a difference: 2 MS_residual / ra.
    """
    r, a, b = strata.y.shape
    block, rest = strata.mean_square("block"), strata.mean_square("sub_plot_error")
    shared = (block - rest) / (r * a * b)
    pieces = np.array([block, (b - 1) * rest]) / (r * a * b)
    df_pieces = np.array([strata.df["block"], strata.df["sub_plot_error"]])
    df = float(pieces.sum() ** 2 / (pieces**2 / df_pieces).sum())
    return MarginalMeans(
        treatments=design.treatments,
        estimate=strata.y.mean(axis=(0, 1)) + strata.origin,
        covariance=shared + np.eye(b) * rest / (r * a),
        df=np.full(b, df),
        pair_df=np.full((b, b), float(strata.df["sub_plot_error"])),
        link="log" if design.family == "lognormal" else "identity",
        n=np.full(b, r * a),
    )


def _notes(design: Design, strata: Strata) -> tuple[str, ...]:
    name = design.names["whole_plot"]
    tests = split_tests(strata).set_index("term")
    notes = [f"Treatment means and differences are averages over all levels of '{name}'."]
    if float(tests["p"].to_dict()["whole_plot:treatment"]) < 0.05:
        notes.append(
            f"The treatments differ in their effect between levels of '{name}' (interaction). "
            f"Look at each level of '{name}' on its own before using the averages."
        )
    if components(strata)["block:whole_plot"] < 0:
        notes.append("The whole-plot variance is estimated below zero: whole plots vary no more "
                     "than sub-plots do.")  # fmt: skip
    return (*linear.notes_of(design), *notes)


def _residuals(design: Design, strata: Strata) -> pd.DataFrame:
    codes = [
        design.frame[role].cat.codes.to_numpy() for role in ("block", "whole_plot", "treatment")
    ]
    rest = _effects(strata.y)["sub_plot_error"][tuple(codes)]
    leverage = 1 - strata.df["sub_plot_error"] / strata.y.size
    return pd.DataFrame(
        {
            "row": design.frame.index,
            "fitted": strata.y[tuple(codes)] + strata.origin - rest,
            "residual": rest,
            "leverage": leverage,
        }
    )
