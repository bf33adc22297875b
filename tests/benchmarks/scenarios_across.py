"""Calibration across environments: continuous responses by the mixed model, counts by pooling.

4 (or 3) blocks x 5 treatments in 3, 6, 9 and 18 environments; treatment x environment standard
deviation none, small and large against a residual of 1. Type I error is that of the treatment test
with no effect; coverage that of the interval of the last treatment minus the check. Counts are
negative binomial, shares binomial; where coverage is measured the last treatment's mean (odds) is
half the check's.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from cell import Cell
from scipy import special

from trialkit.inference.count_plan import plan_pooling
from trialkit.inference.design import Design, make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.first_stage import fit_environments
from trialkit.inference.joint_pooling import pool_jointly
from trialkit.inference.mixed import fit_mixed
from trialkit.inference.two_stage import fit_two_stage, is_guarded

TREATMENTS = 5
ENVIRONMENT_SD, BLOCK_SD = 1.0, 0.7
NORMAL_SD = {"none": 0.0, "small": 0.5, "large": 1.5}
COUNT_SD = {"none": 0.0, "small": 0.2, "large": 0.6}
COUNTS = {"mean 2, k 0.8": (2.0, 0.8), "mean 8, k 1.5": (8.0, 1.5), "mean 30, Poisson": (30.0, 0.0)}
COUNT_CASES = [
    ("mean 8, k 1.5", "none"),
    ("mean 8, k 1.5", "large"),
    ("mean 2, k 0.8", "none"),
    ("mean 2, k 0.8", "large"),
    ("mean 30, Poisson", "small"),
]
LOG_RATIO = float(np.log(0.5))
TRIALS = 20


@dataclass(frozen=True)
class Size:
    """Environments x blocks x 5 treatments, ``lost`` plots of which are lost at random."""

    environments: int
    blocks: int = 4
    lost: int = 0

    @property
    def words(self) -> str:
        """The size in words."""
        return f"{self.environments} environments × {self.blocks} blocks × 5 treatments"

    @property
    def losses(self) -> str:
        """The losses in words."""
        return f"{self.lost} lost plots" if self.lost else "no lost plot"

    @property
    def name(self) -> str:
        """The size in short."""
        return f"{self.environments}x{self.blocks}-lost{self.lost}"

    def index(self) -> np.ndarray:
        """Return (3, n): environment, block and treatment of each plot."""
        shape = (self.environments, self.blocks, TREATMENTS)
        return np.indices(shape).reshape(3, -1)


def cells() -> list[Cell]:
    """Return all cells of this file."""
    return [*normal_cells(), *count_cells()]


def normal_cells() -> list[Cell]:
    """Return the cells of the mixed model; losses are about 3 and 8 % of the plots."""
    sizes = [
        Size(environments, blocks, lost)
        for environments in (3, 6, 9, 18)
        for blocks, lost in ((4, 0), (3, 0), (4, 2 * environments // 3), (3, 5 * environments // 3))
    ]
    return [_normal_cell(size, name) for size in sizes for name in NORMAL_SD]


def count_cells() -> list[Cell]:
    """Return the cells of counts, then of shares, pooled over environments."""
    sizes = [Size(3), Size(6), Size(9)]
    return [
        *(_count_cell(size, mean, sd) for mean, sd in COUNT_CASES for size in sizes),
        _count_cell(Size(6, 4, 4), "mean 8, k 1.5", "small"),
        *(_share_cell(size, "small") for size in sizes),
    ]


def _normal_cell(size: Size, sd: str) -> Cell:
    describe = {
        "design": size.words,
        "cell": f"continuous, {size.losses}, treatment × environment {sd}",
        "method": "REML, components free to be negative; Kenward-Roger",
    }

    def simulate(number: int, seed: int) -> Mapping[str, float]:
        draw, design = np.random.default_rng(seed), _design(size, "normal")
        data = (_normal(size, NORMAL_SD[sd], draw) for _ in range(number))
        return _rates([_judge(fit_mixed(_with(design, size, draw, y)), 0.0) for y in data])

    return Cell(f"across-normal-{size.name}-{sd}", describe, simulate)


def _count_cell(size: Size, mean: str, sd: str) -> Cell:
    describe = {
        "design": size.words,
        "cell": f"counts, {mean}, {size.losses}, treatment × environment {sd}",
        "method": "two stages: penalised count model, joint random effects, Hartung-Knapp",
    }
    name = f"across-counts-{size.name}-{mean.split()[1].strip(',')}-{sd}"

    def responses(ratio: float, draw: np.random.Generator) -> np.ndarray:
        return _counts(size, COUNTS[mean], COUNT_SD[sd], ratio, draw)

    return Cell(name, describe, _pooled_rates(size, "count", responses))


def _share_cell(size: Size, sd: str) -> Cell:
    describe = {
        "design": size.words,
        "cell": f"shares, 20 % of {TRIALS}, {size.losses}, treatment × environment {sd}",
        "method": "two stages: penalised share model, joint random effects, Hartung-Knapp",
    }

    def responses(ratio: float, draw: np.random.Generator) -> np.ndarray:
        odds = np.exp(_link(size, np.log(0.25), COUNT_SD[sd], ratio, draw))
        return draw.binomial(TRIALS, odds / (1 + odds)).astype(float)

    return Cell(f"across-shares-{size.name}-{sd}", describe,
                _pooled_rates(size, "proportion", responses))  # fmt: skip


def _pooled_rates(
    size: Size, family: str, responses: Callable[[float, np.random.Generator], np.ndarray]
) -> Callable[[int, int], Mapping[str, float]]:
    """Return the simulation of a pooled cell: type I without effect, coverage at ratio 0.5."""

    def simulate(number: int, seed: int) -> Mapping[str, float]:
        draw, design = np.random.default_rng(seed), _design(size, family)
        rates = {}
        for ratio in (0.0, LOG_RATIO):
            data = (responses(ratio, draw) for _ in range(number))
            rates[ratio] = _rates(
                [_judge_pooled(_with(design, size, draw, y), ratio) for y in data]
            )
        return {**rates[LOG_RATIO], "type1": rates[0.0]["type1"]}

    return simulate


def _design(size: Size, family: str) -> Design:
    environment, block, treatment = size.index()
    frame = pd.DataFrame({"e": environment, "b": block, "t": treatment})
    frame["y"], frame["n"] = np.arange(len(frame)) % TRIALS + 1.0, float(TRIALS)
    trials = "n" if family == "proportion" else None
    return make_design(frame, response="y", treatment="t", block="b", environment="e",
                       family=family, trials=trials, control=0)  # fmt: skip


def _with(design: Design, size: Size, draw: np.random.Generator, response: np.ndarray) -> Design:
    kept = np.sort(draw.permutation(len(response))[size.lost :])
    return replace(design, frame=design.frame.assign(response=response).iloc[kept])


def _normal(size: Size, sd: float, draw: np.random.Generator) -> np.ndarray:
    e, b, t = size.index()
    return (
        ENVIRONMENT_SD * draw.normal(size=size.environments)[e]
        + BLOCK_SD * draw.normal(size=(size.environments, size.blocks))[e, b]
        + sd * draw.normal(size=(size.environments, TREATMENTS))[e, t]
        + draw.normal(size=len(e))
    )


def _counts(
    size: Size, count: tuple[float, float], sd: float, ratio: float, draw: np.random.Generator
) -> np.ndarray:
    mean, clumping = count
    rate = np.exp(_link(size, np.log(mean), sd, ratio, draw))
    if clumping:
        rate = draw.gamma(clumping, rate / clumping)
    return draw.poisson(rate).astype(float)


def _link(
    size: Size, centre: float, sd: float, ratio: float, draw: np.random.Generator
) -> np.ndarray:
    """Return the link of every plot; ``ratio`` is the log ratio of the last treatment."""
    e, b, t = size.index()
    return (
        centre
        + 0.4 * draw.normal(size=size.environments)[e]
        + 0.3 * draw.normal(size=(size.environments, size.blocks))[e, b]
        + sd * draw.normal(size=(size.environments, TREATMENTS))[e, t]
        + ratio * (t == TREATMENTS - 1)
    )


def _rates(judged: list[tuple[bool, bool]]) -> dict[str, float]:
    """Return type I error and coverage over (rejected, covered) pairs."""
    rejected, covered = np.array(judged).mean(axis=0)
    return {"n": len(judged), "type1": float(rejected), "coverage": float(covered)}


def _judge(result: ModelResult, truth: float) -> tuple[bool, bool]:
    """Return whether the test rejects, and whether the last treatment's interval holds."""
    means, last = result.means, TREATMENTS - 1
    covered = _covers(means.estimate, means.covariance, float(means.pair_df[0, last]), truth)
    return bool(result.tests.loc[0, "p"] < 0.05), covered


def _judge_pooled(design: Design, truth: float) -> tuple[bool, bool]:
    """Judge the pooled fit without the tables that fit_two_stage makes of it, for speed."""
    plan = plan_pooling(design)
    if plan.extreme:
        result = fit_two_stage(design)
        bound = result.bounds.get((design.treatments[-1], design.treatments[0]))
        if bound is not None:
            return bool(result.tests.loc[0, "p"] < 0.05), bound.low <= np.exp(truth) <= bound.high
        return _judge(result, truth)
    stage = fit_environments(plan)
    joint = pool_jointly(stage, TREATMENTS, "REML", safeguard=is_guarded(plan))
    covered = _covers(joint.effects, joint.covariance, joint.df, truth)
    return bool(joint.f_test().p < 0.05), covered


def _covers(estimate: np.ndarray, covariance: np.ndarray, df: float, truth: float) -> bool:
    contrast = np.zeros(TREATMENTS)
    contrast[[0, -1]] = -1, 1
    reach = special.stdtrit(df, 0.975) * np.sqrt(contrast @ covariance @ contrast)
    return bool(abs(contrast @ estimate - truth) <= reach)
