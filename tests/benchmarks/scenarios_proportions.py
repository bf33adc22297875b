"""Calibration of shares: culls at 5, 20, 50 % of the fruit, plots alike or not, 3, 4, 6 blocks."""

from functools import partial

import numpy as np
from cell import Cell
from event_trials import TREATMENTS, Trial, judge, judge_bounds

from trialkit.inference.families import Binomial

SHARES, CORRELATION = (0.05, 0.2, 0.5), (0.0, 0.03, 0.1)
EFFECTS = {"none": np.zeros(TREATMENTS), "half": np.log([1, 0.5, 0.5, 1, 0.75])}


def cells() -> list[Cell]:
    intervals = [
        _interval(blocks, lost, share, correlation, effect)
        for blocks in (3, 4, 6)
        for lost in (0, 2)
        for share in SHARES
        for correlation in CORRELATION
        for effect in EFFECTS
    ]
    bounds = [
        _bound(blocks, correlation, ratio)
        for blocks in (3, 6)
        for correlation in CORRELATION
        for ratio in (0.02, 0.05, 0.1, 0.2, 0.5)
    ]
    return [*intervals, *bounds]


def draw_culls(
    rng: np.random.Generator, link: np.ndarray, *, share: float, correlation: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return culls out of fruit; fruit per plot is negative binomial, mean 40, k 8, at least 5.

    Culls are binomial, or beta-binomial with the correlation given between fruit of one plot.
    """
    fruit = np.maximum(rng.poisson(rng.gamma(8, 40 / 8, link.shape)), 5).astype(float)
    chance = 1 / (1 + (1 - share) / share * np.exp(-link))
    if correlation > 0:
        both = (1 - correlation) / correlation
        chance = rng.beta(chance * both, (1 - chance) * both)
    return rng.binomial(fruit.astype(int), chance).astype(float), fruit


def _interval(blocks: int, lost: int, share: float, correlation: float, effect: str) -> Cell:
    change = "no effect" if effect == "none" else "odds ratios 0.5, 0.5, 1, 0.75"
    words = {
        "design": f"culls, {blocks} blocks × 5 treatments, {lost} lost plots",
        "cell": f"check {100 * share:g} %, correlation in plots {correlation:g}, {change}",
        "method": "randomisation test; quasi-likelihood with correlation, 95 % interval of log "
        "odds ratio",
    }
    draw = partial(draw_culls, share=share, correlation=correlation)
    trial = Trial(Binomial(), blocks, lost, EFFECTS[effect], draw)
    name = f"culls-{blocks}-lost{lost}-share{100 * share:g}-rho{correlation:g}-{effect}"
    return Cell(name, words, partial(judge, trial))


def _bound(blocks: int, correlation: float, ratio: float) -> Cell:
    words = {
        "design": f"culls, {blocks} blocks × 5 treatments, 0 lost plots",
        "cell": f"check 20 %, correlation in plots {correlation:g}, one odds ratio {ratio:g}",
        "method": "95 % bound on the odds ratio where that treatment has no cull",
    }
    effect = np.log([1, ratio, 0.5, 1, 0.75])
    draw = partial(draw_culls, share=0.2, correlation=correlation)
    trial = Trial(Binomial(), blocks, 0, effect, draw)
    return Cell(f"culls-bound-{blocks}-rho{correlation:g}-ratio{ratio:g}", words,
                partial(judge_bounds, trial), bound=True)  # fmt: skip
