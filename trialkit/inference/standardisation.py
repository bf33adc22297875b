"""Differences between treatments in percentage points, averaged over the blocks of the trial."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats
from scipy.special import expit

from trialkit.errors import AnalysisError
from trialkit.inference import dispersion, extremes, families, nothing_found, plot_counts
from trialkit.inference.design import Design
from trialkit.inference.events import fit_trial
from trialkit.inference.extremes import TrialFit
from trialkit.inference.plot_counts import PlotCounts
from trialkit.inference.points import Points, points_interval

COLUMNS = ("treatment", "versus", "points", "se", "df", "low", "high", "bound")


def block_shifts(design: Design) -> np.ndarray:
    """Return the effects on the logit of the blocks of one trial that hold information.

    Raises AnalysisError where every plot is the same extreme.
    """
    plots = _plots(design)
    return _shifts(plots, fit_trial(plots))


def _shifts(plots: PlotCounts, fit: TrialFit) -> np.ndarray:
    link = fit.block_link(plots)
    blocks = np.unique(np.column_stack([*plots.layout.blocks, link]), axis=0)[:, -1]
    return np.asarray(blocks[np.isfinite(blocks)])


@dataclass(frozen=True)
class Shares:
    """Standardised shares of k treatments: value, covariance (k, k), limits low and high (k,)."""

    value: np.ndarray
    covariance: np.ndarray
    low: np.ndarray
    high: np.ndarray
    extreme: np.ndarray


def percentage_points(design: Design, level: float = 0.95) -> pd.DataFrame:
    """Return each treatment minus the check (or all pairs) in percentage points.

    A treatment's standardised share is the average over blocks of what the logit model expects of
    it there, ``mean_b expit(treatment + block_b)``; differences of such shares are marginal
    (population-averaged) effects, unlike odds ratios (Lane & Nelder 1982, Biometrics 38:613).
    Standard errors by the delta method from the model's covariance; intervals, by t, those of
    ``points.points_interval``. Where a treatment has nothing, or nothing else, the limits of the
    two shares are combined (Zou & Donner 2008, Stat. Med. 27:1693), its open end being 0 or 100 %;
    ``bound`` is then True, ``se`` NaN.
    Blocks all at the same extreme are left out of the average. Raises AnalysisError for other
    families, and where every plot is the same extreme.

    >>> from trialkit.inference.design import make_design
    >>> frame = pd.DataFrame({"culls": [12, 3, 20, 5, 9, 4, 15, 4], "fruit": [40] * 8,
    ...                       "cover": ["none", "net"] * 4, "rep": [1, 1, 2, 2, 3, 3, 4, 4]})
    >>> design = make_design(frame, response="culls", trials="fruit", treatment="cover",
    ...                      block="rep", family="proportion", control="none")
    >>> percentage_points(design)[["treatment", "points"]].round(6).values.tolist()
    [['net', -25.0]]
    >>> 100 * (16 - 56) / 160
    -25.0
    """
    if design.family != "proportion":
        raise AnalysisError(
            f"Percentage points are for family 'proportion', not '{design.family}'. "
            "Give the number examined as trials."
        )
    plots = _plots(design)
    fit = fit_trial(plots)
    shares = standardised_shares(plots, fit, level)
    rows = [_row(plots, fit, shares, pair, level) for pair in _pairs(design)]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _plots(design: Design) -> PlotCounts:
    """Read the plots; raises AnalysisError where there is nothing to tell shares apart."""
    plots = plot_counts.read(design, families.Binomial())
    if nothing_found.side_of_all(plots):
        raise AnalysisError(
            "Every plot is at the same extreme, so there is no difference to give in percentage "
            "points. See the bounds on the shares."
        )
    return plots


def standardised_shares(plots: PlotCounts, fit: TrialFit, level: float) -> Shares:
    """Return the shares of all treatments averaged over the blocks that hold information."""
    k = len(plots.treatments)
    model = fit.model
    blocks = np.unique(model.matrix[:, model.layout.k :], axis=0)
    value, gradient = np.zeros(k), np.zeros((k, model.matrix.shape[1]))
    for place, i in enumerate(fit.treatments):
        rows = np.column_stack([np.tile(np.eye(model.layout.k)[place], (len(blocks), 1)), blocks])
        share = expit(rows @ model.fitted.coefficients[0])
        value[i] = share.mean()
        gradient[i] = ((share * (1 - share))[:, None] * rows).mean(0)
    covariance = gradient @ _full_covariance(plots, fit) @ gradient.T
    half = _quantile(fit, level) * _logit_se(value, np.diag(covariance))
    low, high = _logit_limits(value, half)
    sides = np.array([plots.extreme(i) for i in range(k)])
    bounds = extremes.find_bounds(plots, fit, level)
    for i in np.flatnonzero(sides):
        bound = bounds[plots.treatments[i], ""]
        value[i], low[i], high[i] = float(sides[i] > 0), bound.low, bound.high
    return Shares(value, covariance, low, high, sides != 0)


def _quantile(fit: TrialFit, level: float) -> float:
    return float(stats.t.ppf((1 + level) / 2, fit.model.interval_df[0]))


def _full_covariance(plots: PlotCounts, fit: TrialFit) -> np.ndarray:
    model = fit.model
    return dispersion.covariance(
        plots.family, model.matrix, model.fitted, plots.size[fit.kept], model.dispersion,
        model.layout.treatment_columns(),
    )[0]  # fmt: skip


def _logit_se(value: np.ndarray, variance: np.ndarray) -> np.ndarray:
    inside = (value > 0) & (value < 1)
    safe = np.where(inside, value, 0.5)
    return np.asarray(np.where(inside, np.sqrt(variance) / (safe * (1 - safe)), 0.0))


def _logit_limits(value: np.ndarray, half: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    safe = np.clip(value, 1e-300, 1 - 1e-16)
    link = np.log(safe / (1 - safe))
    return expit(link - half), expit(link + half)


def _pairs(design: Design) -> list[tuple[int, int]]:
    k = len(design.treatments)
    if design.control is not None:
        hub = design.treatments.index(design.control)
        return [(i, hub) for i in range(k) if i != hub]
    return [(j, i) for i in range(k) for j in range(i + 1, k)]


def _row(
    plots: PlotCounts, fit: TrialFit, shares: Shares, pair: tuple[int, int], level: float
) -> tuple[object, ...]:
    i, j = pair
    difference = shares.value[i] - shares.value[j]
    bounded = bool(shares.extreme[i] or shares.extreme[j])
    if bounded:
        down = np.hypot(shares.value[i] - shares.low[i], shares.high[j] - shares.value[j])
        up = np.hypot(shares.high[i] - shares.value[i], shares.value[j] - shares.low[j])
        se = np.nan
    else:
        V = shares.covariance
        se = float(np.sqrt(V[i, i] + V[j, j] - 2 * V[i, j]))
        found = _between(plots, fit, pair, level)
        down, up = difference - found.low, found.high - difference
    low, high = max(difference - down, -1.0), min(difference + up, 1.0)
    points = [100 * float(x) for x in (difference, se)]
    names = (plots.treatments[i], plots.treatments[j])
    df = float(fit.model.interval_df[0])
    return (*names, *points, df, 100 * float(low), 100 * float(high), bounded)


def _between(plots: PlotCounts, fit: TrialFit, pair: tuple[int, int], level: float) -> Points:
    places = np.array([int(np.flatnonzero(fit.treatments == i)[0]) for i in pair])
    covariance = fit.model.covariance[0][np.ix_(places, places)]
    return points_interval(
        fit.model.estimate[0][places], covariance, _shifts(plots, fit), _quantile(fit, level)
    )
