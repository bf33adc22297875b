"""A treatment without a single event in all environments: a bound over all of them together.

The bound is the ratio at which finding nothing in any environment would have had a chance of only
1 - level. In each environment the plots are taken to vary as those of the other treatments do, and
the ratio itself to vary between environments by tau².
"""

from collections.abc import Callable, Mapping

import numpy as np
import pandas as pd
from scipy.optimize import brentq

from trialkit.inference.bounds import chance_of_none, relative_odds
from trialkit.inference.count_plan import block_codes, sizes
from trialkit.inference.design import Design
from trialkit.inference.estimates import Bound
from trialkit.inference.first_stage import FirstStage, Group
from trialkit.inference.glm import GlmFit
from trialkit.inference.joint_pooling import JointFit

NODES, WEIGHTS = np.polynomial.hermite_e.hermegauss(15)
REACH = 60.0
HALF = 0.5
LEAST_ODDS = 1e-12
Plots = list[tuple[np.ndarray, np.ndarray]]


def find_bounds(
    design: Design, extreme: Mapping[str, int], stage: FirstStage, joint: JointFit, level: float
) -> dict[tuple[str, str], Bound]:
    """Return bounds of every extreme treatment: against each other one, and of its mean ("")."""
    pooled = [label for label in design.treatments if label not in extreme]
    found: dict[tuple[str, str], Bound] = {}
    for label, side in extreme.items():
        plots = _plots(design, label, stage, joint)
        found[label, ""] = _mean_bound(plots, side, stage, joint, level)
        for other in extreme:
            if other != label and extreme[other] == side:
                found[label, other] = Bound(0.0, np.inf, _nothing_said(side))
        for j, other in enumerate(pooled):
            odds = _odds(design, other, float(joint.covariance[j, j]), stage)
            end, p = _solve(plots, side, joint.effects[j], odds, stage, joint.tau2, level)
            found[label, other] = _as_bound(end, side, _words(side, level), p)
    return found


def half_an_event(
    design: Design, label: str, side: int, stage: FirstStage, joint: JointFit
) -> tuple[float, float]:
    """Return effect and variance of an extreme treatment that is given half an event in all."""
    plots = _plots(design, label, stage, joint)
    mean = [stage.family.mean(-side * link, size) for link, size in plots]
    total = max(HALF, float(sum(m.sum() for m in mean)))
    if stage.family.name == "binomial":
        size = max(1.0, float(sum(s.sum() for _, s in plots)))
        share = total / size
        return side * (np.log((size + HALF) / HALF) + np.log(share / (1 - share))), 2.0
    clumped = sum(float((m**2).sum()) for m in mean) * stage.clumping / total**2
    return float(np.log(HALF / total)), 2.0 + clumped


def _plots(design: Design, label: str, stage: FirstStage, joint: JointFit) -> Plots:
    """Return, per environment with plots of ``label``, their link at average treatment and size."""
    frame = design.frame[design.frame["treatment"] == label]
    counts = frame.groupby("environment", observed=True)
    kept = {place: (group, fit, d) for group, fit in zip(stage.groups, stage.fits, strict=True)
            for d, place in enumerate(group.places)}  # fmt: skip
    found: Plots = []
    for place, (group, fit, d) in sorted(kept.items()):
        name = stage.names[place]
        if name in counts.groups:
            part = counts.get_group(name)
            found.append((joint.levels[place] + _block_effects(group, fit, d, part), sizes(part)))
    return found


def _block_effects(group: Group, fit: GlmFit, d: int, part: pd.DataFrame) -> np.ndarray:
    """Return the block effect of each row of ``part``; 0 in a block that was not fitted."""
    q = len(group.treatments)
    effects = group.matrix[:, q:] @ fit.coefficients[d, q:]
    known = dict(zip(group.block[d].tolist(), effects.tolist(), strict=True))
    return np.array([known.get(int(code), 0.0) for code in block_codes(part)])


def _odds(design: Design, other: str, variance: float, stage: FirstStage) -> np.ndarray:
    """Return equally likely multiples of the mean of the treatment compared with."""
    part = design.frame[design.frame["treatment"] == other]
    events = float(part["response"].sum()) / stage.unit
    others = np.inf
    if "trials" in part:
        others = float((part["trials"] - part["response"]).sum())
    likely = relative_odds(events, others, max(variance, 1 / events + 1 / others))
    return np.maximum(likely, LEAST_ODDS)


def _solve(
    plots: Plots, side: int, effect: float, odds: np.ndarray, stage: FirstStage, tau2: float,
    level: float,
) -> tuple[float, float]:  # fmt: skip
    """Return the log ratio at which nothing at all has chance 1 - level, and the chance at 1."""
    chance = _chance(plots, side, effect, odds, stage, tau2)
    if chance(REACH) > 1 - level:
        return np.inf, chance(0.0)
    return float(brentq(lambda x: chance(x) - (1 - level), -REACH, REACH)), chance(0.0)


def _chance(
    plots: Plots, side: int, effect: float, odds: np.ndarray, stage: FirstStage, tau2: float
) -> Callable[[float], float]:
    spread = np.sqrt(tau2) * NODES
    weights = WEIGHTS / WEIGHTS.sum()
    moved = -side * np.log(odds)[:, None, None] + spread[None, :, None]

    def chance(shift: float) -> float:
        product = np.ones(len(odds))
        for link, size in plots:
            at = np.clip(-side * (link + effect) + shift + moved, -600, 600)
            mean = stage.family.mean(at, size)
            product *= chance_of_none(stage.family, mean, size, 1.0, stage.clumping) @ weights
        return float(product.mean())

    return chance


def _mean_bound(plots: Plots, side: int, stage: FirstStage, joint: JointFit, level: float) -> Bound:
    end, _ = _solve(plots, side, 0.0, np.ones(1), stage, joint.tau2 / 2, level)
    link = -side * joint.levels.mean() + end
    if stage.family.name == "binomial":
        share = float(1 / (1 + np.exp(-link)))
        return (
            Bound(0.0, share, _words(side, level))
            if side < 0
            else Bound(1 - share, 1.0, _words(side, level))
        )
    return Bound(0.0, float(np.exp(link)) * stage.unit, _words(side, level))


def _as_bound(end: float, side: int, words: str, p: float) -> Bound:
    ratio = float(np.exp(min(end, 600.0))) if np.isfinite(end) else np.inf
    return Bound(0.0, ratio, words, p) if side < 0 else Bound(1 / ratio, np.inf, words, p)


def _words(side: int, level: float) -> str:
    what = "finding nothing" if side < 0 else "finding nothing else"
    return (
        f"{100 * level:g} % bound over all environments: beyond it, {what} in any of them would "
        f"have had a chance of less than {100 * (1 - level):.3g} %, plots and environments varying "
        "as they do for the other treatments"
    )


def _nothing_said(side: int) -> str:
    what = "nothing was found" if side < 0 else "nothing else was found"
    return f"no bound: {what} on either treatment in any environment"
