"""How much plots vary in counts and shares, from a study's own plots."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import optimize

from trialkit.inference import families
from trialkit.inference.design import Design
from trialkit.inference.events import fit_trial
from trialkit.inference.plot_counts import PlotCounts, read

LEAST: Final = 1e-6  # clumping of plots that vary no more than chance


@dataclass(frozen=True)
class PlotSpread:
    """What the plots say, over all site-seasons together.

    check_mean : mean count of the check's plots, or the check's share (0 to 1).
    clumping   : a of the variance m (1 + a m) of a count, that is 1 / k of a negative binomial; or
                 the correlation rho of n p (1 - p) (1 + (n - 1) rho) of a share.
    trials     : mean number of fruit or plants a plot, 0 for counts.
    df         : degrees of freedom that the clumping rests on.
    """

    check_mean: float
    clumping: float
    trials: float
    df: int


def spread_of(designs: list[Design]) -> PlotSpread | None:
    """Clumping over site-seasons by moments, each with its own blocks and treatments fitted.

    Solves sum (y - m)² / (v (1 + a e)) = residual degrees of freedom over all plots for one a, as
    Williams (1982, Appl. Stat. 31:144) does for shares and Breslow (1984, Appl. Stat. 33:38) for
    counts; v is the Poisson or binomial variance, e the mean or the trials less one. With five
    treatments in four blocks and a true rho of 0.05 it comes out at 0.050 for shares of 40 %, at
    0.046 for 20 % (300 simulated trials each). None where no plot of the check has an event.
    ``designs`` are of one site-season each, of one family.
    """
    share = designs[0].family == "proportion"
    family = families.Binomial() if share else families.Poisson()
    plots = [read(design, family) for design in designs]
    check_mean = _check_mean(plots, share)
    if not check_mean > 0:
        return None
    square, spread, df = _squares(plots)
    trials = float(np.concatenate([one.size for one in plots]).mean()) if share else 0.0
    return PlotSpread(check_mean, _clumping(square, spread, df), trials, df)


def _check_mean(plots: list[PlotCounts], share: bool) -> float:
    response = np.concatenate([one.response[one.plots_of(0)] for one in plots])
    size = np.concatenate([one.size[one.plots_of(0)] for one in plots])
    if not len(response):
        return 0.0
    return float(response.sum() / size.sum()) if share else float(response.mean())


def _squares(plots: list[PlotCounts]) -> tuple[np.ndarray, np.ndarray, int]:
    """Pearson's squares of all plots, what clumping multiplies in them, degrees of freedom."""
    square, spread, df = [], [], 0
    for one in plots:
        fit = fit_trial(one)
        mean, size = fit.model.fitted.mean[0], one.size[fit.kept]
        square.append((one.response[fit.kept] - mean) ** 2 / one.family.variance(mean, size))
        spread.append(np.broadcast_to(one.family.spread(mean, size), mean.shape))
        df += int(fit.model.df)
    return np.concatenate(square), np.concatenate(spread), df


def _clumping(square: np.ndarray, spread: np.ndarray, df: int) -> float:
    def beyond(clumping: float) -> float:
        return float((square / (1 + clumping * spread)).sum() - df)

    if beyond(0) <= 0:
        return LEAST
    top = 1.0
    while beyond(top) > 0 and top < 1e9:
        top *= 4
    return max(float(optimize.brentq(beyond, 0, top, xtol=1e-12)), LEAST)
