"""Split plots for models without whole-plot errors: each comparison on plots that can bear it.

A treatment that shares whole plots with the check is compared inside them, the other whole plots
put aside: there, whole plots are blocks. A treatment in other whole plots is compared on the plots
of the two alone. With one plot of each in a block, the variation of their difference from block to
block (or from environment to environment) holds that between whole plots, so that the ordinary
analysis of two treatments judges it rightly: the randomisation that put one whole plot here and the
other there is that of a paired trial. What is given up are degrees of freedom, not the level.

No source is known for doing this with counts; for a continuous response it is the paired t test.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, Bound, MarginalMeans, ModelResult
from trialkit.inference.mixed_notes import shared_whole_plots

Fitting = Callable[[Design], ModelResult]

METHOD = (
    "Split plot: treatments that share whole plots with the check are compared inside these whole "
    "plots, each other treatment on its own plots and those of the check alone, so that the "
    "variation between whole plots counts. Model of each comparison: "
)
OF_ALL_PLOTS = ("treatment test", "The two tests disagree", "intervals use t on")
TESTS_OF_ALL = ("p_model", "p_randomisation", "arrangements", "interval_df")
LESS_SURE = (
    "No common test of all treatments is made. Letters and intervals of means are approximate and "
    "lean to caution."
)


@dataclass(frozen=True)
class Difference:
    """A treatment minus the check on the link scale, as one part of the plots shows it."""

    estimate: float
    variance: float
    df: float


def fit_by_pairs(design: Design, fitting: Fitting) -> ModelResult:
    """Fit a nested split plot by ``fitting``, a model that knows blocks but no whole plots.

    Means come from all plots together, moved so that differences from the check are those of the
    parts; so are standard errors, degrees of freedom and bounds. Covariances between differences
    are those of a common check. Raises AnalysisError without a check, or where a part of the plots
    has no answer.
    """
    if design.control is None:
        raise AnalysisError(
            f"A split plot of family '{design.family}', or over environments, is analysed against "
            "a check. Name the check as control."
        )
    whole = fitting(_without_whole_plots(design, design.treatments))
    parts = _parts(design, fitting)
    found = {t: _difference(part.means, t, design.control) for t, part in parts.items()}
    return replace(
        whole,
        method=METHOD + whole.method,
        notes=(*_kept(whole.notes), shared_whole_plots(design), LESS_SURE),
        tests=pd.DataFrame(columns=list(TEST_COLUMNS)),
        means=_means(whole.means, found, design.control),
        bounds=_bounds(whole, parts, design.control),
        components=_widest(whole.components, [part.components for part in parts.values()]),
        extra=_extra(whole, parts),
        record=_record(whole, parts),
    )


def _parts(design: Design, fitting: Fitting) -> dict[str, ModelResult]:
    """Return for each treatment the model that compares it with the check."""
    level = design.frame.groupby("treatment", observed=True)["whole_plot"].first().to_dict()
    check = str(design.control)
    together = tuple(t for t in design.treatments if level[t] == level[check])
    inside = _fitted(design, together, fitting) if len(together) > 1 else None
    parts = {}
    for treatment in design.treatments:
        if treatment != check:
            shares = inside is not None and treatment in together
            pair = (check, treatment)
            parts[treatment] = inside if shares and inside else _fitted(design, pair, fitting)
    return parts


def _fitted(design: Design, treatments: tuple[str, ...], fitting: Fitting) -> ModelResult:
    try:
        return fitting(_without_whole_plots(design, treatments))
    except AnalysisError as error:
        others = ", ".join(f"'{t}'" for t in treatments if t != design.control)
        raise AnalysisError(
            f"The plots of {others} and of the check '{design.control}' cannot be compared on "
            f"their own, as a split plot asks: {error}"
        ) from error


def _without_whole_plots(design: Design, treatments: tuple[str, ...]) -> Design:
    """Return the design of some treatments, in environments that hold two of them at least."""
    frame = design.frame[design.frame["treatment"].isin(treatments)].drop(columns="whole_plot")
    if "environment" in frame:
        held = frame.groupby("environment", observed=True)["treatment"].transform("nunique")
        frame = frame[held.to_numpy() > 1]
        if frame["environment"].nunique() < 2:
            raise AnalysisError("fewer than two environments hold them.")
    cut = {role: column.cat.remove_unused_categories() for role, column in frame.items()
           if isinstance(column.dtype, pd.CategoricalDtype)}  # fmt: skip
    names = {role: name for role, name in design.names.items() if role != "whole_plot"}
    return replace(design, frame=frame.assign(**{str(r): c for r, c in cut.items()}), names=names)


def _difference(means: MarginalMeans, treatment: str, check: str) -> Difference:
    i, j = means.treatments.index(treatment), means.treatments.index(check)
    v = means.covariance
    return Difference(
        float(means.estimate[i] - means.estimate[j]),
        float(v[i, i] + v[j, j] - 2 * v[i, j]),
        float(means.pair_df[i, j]),
    )


def _means(means: MarginalMeans, found: Mapping[str, Difference], check: str) -> MarginalMeans:
    """Return ``means`` with the differences from the check, and their errors, of the parts.

    Differences share half of their variance, as with a common check; the check's own variance is
    half of the largest of theirs at least.
    """
    hub, k = means.treatments.index(check), len(means.treatments)
    estimate, v = means.estimate.copy(), np.zeros(k)
    df = np.full(k, min(one.df for one in found.values()))
    for treatment, one in found.items():
        i = means.treatments.index(treatment)
        estimate[i], v[i], df[i] = means.estimate[hub] + one.estimate, one.variance, one.df
    # Each difference is made of a part of the check and one of its own, of equal variance.
    root = np.diag(np.sqrt(v / 2))
    root[:, hub] = -np.sqrt(v / 2)
    own = max(float(means.covariance[hub, hub]), float(v.max()) / 2)
    root[hub] = 0.0
    weight = np.zeros(k)
    weight[hub] = np.sqrt(own)
    mean_root = root + weight
    df = np.where(np.arange(k) == hub, df.min(), df)
    return replace(
        means,
        estimate=estimate,
        covariance=mean_root @ mean_root.T,
        df=df,
        pair_df=_pair_df(df, hub),
    )


def _pair_df(df: np.ndarray, hub: int) -> np.ndarray:
    """Return degrees of freedom of pairs: of the treatment against the check, else the fewer."""
    pairs = np.minimum.outer(df, df)
    pairs[hub], pairs[:, hub] = df, df
    return pairs


def _bounds(
    whole: ModelResult, parts: Mapping[str, ModelResult], check: str
) -> dict[tuple[str, str], Bound]:
    """Return the bounds of means and of pairs without the check, then those of the parts."""
    found = {pair: bound for pair, bound in whole.bounds.items() if check not in pair}
    found |= {pair: bound for pair, bound in whole.bounds.items() if "" in pair}
    for treatment, part in parts.items():
        pairs = {(treatment, check), (check, treatment)}
        found |= {pair: bound for pair, bound in part.bounds.items() if pair in pairs}
    return found


def _widest(whole: Mapping[str, float], parts: list[Mapping[str, float]]) -> dict[str, float]:
    """Return numbers of the whole; variances of answers to treatments are the largest of all."""
    return {
        name: max([value, *(part[name] for part in parts if name in part)])
        if name.endswith(":treatment")
        else value
        for name, value in whole.items()
    }


def _kept(notes: tuple[str, ...]) -> tuple[str, ...]:
    """Return the notes that stay true where no test or interval comes from all plots together."""
    return tuple(note for note in notes if not any(words in note for words in OF_ALL_PLOTS))


def _extra(whole: ModelResult, parts: Mapping[str, ModelResult]) -> dict[str, float]:
    found = _widest(whole.extra, [part.extra for part in parts.values()])
    return {name: value for name, value in found.items() if name not in TESTS_OF_ALL}


def _record(whole: ModelResult, parts: Mapping[str, ModelResult]) -> dict[str, object]:
    """Return the record of the whole, its rows by treatment taken from the parts."""
    record = {name: value for name, value in whole.record.items() if name != "randomisation"}
    for name in ("ratios", "per_environment"):
        if name in record:
            record[name] = [row for t, part in parts.items() for row in _rows(part, name, t)]
    return record


def _rows(part: ModelResult, name: str, treatment: str) -> list[dict[str, object]]:
    rows = part.record.get(name, [])
    return [row for row in rows if row["treatment"] == treatment] if isinstance(rows, list) else []
