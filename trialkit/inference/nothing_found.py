"""Trials in which every plot is the same extreme: no insect at all, or no sound fruit at all."""

import numpy as np
import pandas as pd

from trialkit.inference import extremes
from trialkit.inference.estimates import TEST_COLUMNS, Bound, MarginalMeans, ModelResult
from trialkit.inference.plot_counts import PlotCounts


def side_of_all(plots: PlotCounts) -> int:
    """Return -1 where all plots are empty, 1 where all are full, 0 where neither."""
    if not plots.response.any():
        return -1
    return int(plots.top is not None and bool((plots.response == plots.top).all()))


def only_bounds(plots: PlotCounts, level: float) -> ModelResult:
    """Return what can be said of such a trial: a bound on the means, and no comparison.

    With ``n`` units examined (or an exposure of n), the mean is at most ``-log(1 - level) / n``,
    the share at most ``1 - (1 - level)^(1/n)``, if insects fall on plots independently; clumping
    cannot be estimated from nothing.
    """
    k, labels, side = len(plots.treatments), plots.treatments, side_of_all(plots)
    exposure = np.array([plots.size[plots.plots_of(i)].sum() for i in range(k)])
    bounds = {(label, ""): _bound(plots, float(e), side, level)
              for label, e in zip(labels, exposure, strict=True)}  # fmt: skip
    unknown = Bound(0.0, np.inf, extremes.nothing_said(side))
    bounds |= {(a, b): unknown for a in labels for b in labels if a != b}
    df = float(max(len(plots.response) - k, 1))
    estimate = np.log(extremes.HALF / exposure)
    if plots.is_share:
        estimate = side * np.log((exposure + extremes.HALF) / extremes.HALF)
    means = MarginalMeans(
        labels, estimate, 2 * np.eye(k), np.full(k, df), np.full((k, k), df),
        "logit" if plots.is_share else "log", np.bincount(plots.layout.treatment, minlength=k),
    )  # fmt: skip
    return ModelResult(
        family="proportion" if plots.is_share else "count",
        method="every plot the same extreme: bounds on the means only",
        terms=(*plots.names, "treatment"),
        notes=(_note(plots, _bound(plots, float(exposure.sum()), side, level), side),),
        tests=pd.DataFrame(columns=list(TEST_COLUMNS)),
        means=means,
        bounds=bounds,
    )


def _bound(plots: PlotCounts, exposure: float, side: int, level: float) -> Bound:
    words = extremes.method_words(side, level, "each falling on plots independently")
    if not plots.is_share:
        return Bound(0.0, float(-np.log(1 - level) / exposure), words)
    share = -np.expm1(np.log(1 - level) / exposure)
    return Bound(0.0, float(share), words) if side < 0 else Bound(float(1 - share), 1.0, words)


def _note(plots: PlotCounts, bound: Bound, side: int) -> str:
    found = "No insect was found in any plot"
    if plots.is_share:
        found = f"{'None' if side < 0 else 'All'} of what was examined was affected in every plot"
    what = "share" if plots.is_share else "mean per plot or unit of exposure"
    end = f"at most {bound.high:.3g}" if side < 0 else f"at least {bound.low:.3g}"
    return (
        f"{found}, so treatments cannot be compared. Over the whole trial the {what} is {end} "
        f"({bound.method})."
    )
