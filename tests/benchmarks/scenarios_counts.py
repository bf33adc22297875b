"""Calibration of counts: means 2, 8, 30 on the check, clumped or not, in 3, 4, 6 blocks."""

from functools import partial

import numpy as np
from cell import Cell
from event_trials import TREATMENTS, Trial, judge, judge_bounds

from trialkit.inference.families import Poisson

MEANS, CLUMPING = (2, 8, 30), (0.8, 1.5, np.inf)
EFFECTS = {"none": np.zeros(TREATMENTS), "half": np.log([1, 0.5, 0.5, 1, 0.75])}
RATIOS = (0.02, 0.05, 0.1, 0.2, 0.5)


def cells() -> list[Cell]:
    intervals = [
        _interval(blocks, lost, mean, k, effect)
        for blocks in (3, 4, 6)
        for lost in (0, 2)
        for mean in MEANS
        for k in CLUMPING
        for effect in EFFECTS
    ]
    bounds = [
        _bound(blocks, mean, k, ratio)
        for blocks in (3, 6)
        for mean in MEANS
        for k in CLUMPING
        for ratio in RATIOS
    ]
    days = [
        _insect_days(blocks, k, effect)
        for blocks in (3, 4, 6)
        for k in CLUMPING
        for effect in EFFECTS
    ]
    bounded_days = [_insect_days_bound(k, ratio) for k in CLUMPING for ratio in (0.02, 0.05, 0.1)]
    return [*intervals, *days, *bounds, *bounded_days]


def draw_counts(
    rng: np.random.Generator, link: np.ndarray, *, mean: float, k: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return Poisson or negative binomial counts, and exposures of one."""
    expected = mean * np.exp(link - 0.4**2 / 2)
    rate = expected if np.isinf(k) else rng.gamma(k, expected / k)
    return rng.poisson(rate).astype(float), np.ones_like(link)


def draw_insect_days(
    rng: np.random.Generator, link: np.ndarray, *, k: float
) -> tuple[np.ndarray, np.ndarray]:
    """Return insect-days per plant from four weekly scoutings of five plants, mean 2 per plant."""
    mean = 2 * np.exp(link - 0.4**2 / 2)
    plot = mean if np.isinf(k) else rng.gamma(k, mean / k)
    season, days = np.array([0.5, 1, 1.5, 1]), np.array([3.5, 7, 7, 3.5])
    counts = rng.poisson(5 * plot[..., None] * season)
    return counts @ days / 5, np.ones_like(link)


def _insect_days(blocks: int, k: float, effect: str) -> Cell:
    change = "no effect" if effect == "none" else "ratios 0.5, 0.5, 1, 0.75"
    words = {
        "design": f"insect-days, {blocks} blocks × 5 treatments, 0 lost plots",
        "cell": f"2 insects per plant, k {k:g}, {change}",
        "method": "randomisation test; quasi-likelihood with clumping, 95 % interval of log ratio",
    }
    trial = Trial(Poisson(), blocks, 0, EFFECTS[effect], partial(draw_insect_days, k=k))
    return Cell(f"days-{blocks}-k{k:g}-{effect}", words, partial(judge, trial))


def _insect_days_bound(k: float, ratio: float) -> Cell:
    words = {
        "design": "insect-days, 3 blocks × 5 treatments, 0 lost plots",
        "cell": f"2 insects per plant, k {k:g}, one treatment at {ratio:g} of it",
        "method": "95 % bound on the ratio where that treatment has no insect",
    }
    effect = np.log([1, ratio, 0.5, 1, 0.75])
    trial = Trial(Poisson(), 3, 0, effect, partial(draw_insect_days, k=k))
    return Cell(f"days-bound-3-k{k:g}-ratio{ratio:g}", words, partial(judge_bounds, trial),
                bound=True)  # fmt: skip


def _interval(blocks: int, lost: int, mean: float, k: float, effect: str) -> Cell:
    change = "no effect" if effect == "none" else "ratios 0.5, 0.5, 1, 0.75"
    words = {
        "design": f"counts, {blocks} blocks × 5 treatments, {lost} lost plots",
        "cell": f"check mean {mean}, k {k:g}, {change}",
        "method": "randomisation test; quasi-likelihood with clumping, 95 % interval of log ratio",
    }
    trial = Trial(Poisson(), blocks, lost, EFFECTS[effect], partial(draw_counts, mean=mean, k=k))
    return Cell(f"counts-{blocks}-lost{lost}-mean{mean}-k{k:g}-{effect}", words,
                partial(judge, trial))  # fmt: skip


def _bound(blocks: int, mean: float, k: float, ratio: float) -> Cell:
    words = {
        "design": f"counts, {blocks} blocks × 5 treatments, 0 lost plots",
        "cell": f"check mean {mean}, k {k:g}, one treatment at {ratio:g} of it",
        "method": "95 % bound on the ratio where that treatment has no insect",
    }
    effect = np.log([1, ratio, 0.5, 1, 0.75])
    trial = Trial(Poisson(), blocks, 0, effect, partial(draw_counts, mean=mean, k=k))
    return Cell(f"counts-bound-{blocks}-mean{mean}-k{k:g}-ratio{ratio:g}", words,
                partial(judge_bounds, trial), bound=True)  # fmt: skip
