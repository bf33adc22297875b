"""Calibration across environments: continuous responses by the mixed model, counts by pooling.

4 (or 3) blocks x 5 treatments in 3, 6, 9 and 18 environments; treatment x environment standard
deviation none, small and large against a residual of 1. Type I error is that of the treatment test
with no effect; coverage that of the interval of the last treatment minus the check. Counts are
negative binomial, shares binomial; where coverage is measured the last treatment's mean (odds) is
half the check's. Prediction is the chance that the truth of one more environment lies in its 95 %
prediction interval, computed exactly for each data set and averaged (of pooled data sets one in
four is taken for it).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import first_stages
import joint_pools
import numpy as np
import pandas as pd
from cell import Cell
from scipy import special

from trialkit.inference.count_plan import plan_pooling
from trialkit.inference.design import Design, make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.families import Binomial, Poisson
from trialkit.inference.first_stage import fit_environments
from trialkit.inference.joint_pooling import JointFit, pool_jointly
from trialkit.inference.mixed import fit_mixed
from trialkit.inference.prediction import around
from trialkit.inference.two_stage import fit_two_stage

TREATMENTS = 5
ENVIRONMENT_SD, BLOCK_SD = 1.0, 0.7
NORMAL_SD = {"none": 0.0, "small": 0.5, "large": 1.5}
COUNT_SD = {"none": 0.0, "small": 0.2, "large": 0.6}
COUNTS = {"mean 2, k 0.8": (2.0, 0.8), "mean 8, k 1.5": (8.0, 1.5), "mean 30, Poisson": (30.0, 0.0)}
SHARES = (5, 20)
LOG_RATIO = float(np.log(0.5))
TRIALS = 20
FEWER = 4
CHUNK = 200
Judged = tuple[bool, bool, float]
Drawn = tuple[np.ndarray, np.ndarray]


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
    sizes = [Size(environments) for environments in (3, 6, 9, 18)]
    return [
        *(_count_cell(size, mean, sd) for mean in COUNTS for sd in COUNT_SD for size in sizes),
        _count_cell(Size(6, 4, 4), "mean 8, k 1.5", "small"),
        *(_share_cell(size, share, sd) for share in SHARES for sd in COUNT_SD for size in sizes),
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
        fits = (fit_mixed(_with(design, _drawn(size, draw, y))) for y in data)
        return _rates([_judge(fit, 0.0, NORMAL_SD[sd] * 2**0.5) for fit in fits])

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

    return Cell(name, describe, _pooled_rates(size, "count", sd, responses))


def _share_cell(size: Size, share: int, sd: str) -> Cell:
    describe = {
        "design": size.words,
        "cell": f"shares, {share} % of {TRIALS}, {size.losses}, treatment × environment {sd}",
        "method": "two stages: penalised share model, joint random effects, Hartung-Knapp",
    }

    def responses(ratio: float, draw: np.random.Generator) -> np.ndarray:
        odds = np.exp(_link(size, np.log(share / (100 - share)), COUNT_SD[sd], ratio, draw))
        return draw.binomial(TRIALS, odds / (1 + odds)).astype(float)

    rare = "" if share == max(SHARES) else f"{share}-"
    return Cell(f"across-shares-{size.name}-{rare}{sd}", describe,
                _pooled_rates(size, "proportion", sd, responses))  # fmt: skip


def _pooled_rates(
    size: Size, family: str, sd: str, responses: Callable[[float, np.random.Generator], np.ndarray]
) -> Callable[[int, int], Mapping[str, float]]:
    """Return the simulation of a pooled cell: type I without effect, coverage at ratio 0.5."""
    between = COUNT_SD[sd] * 2**0.5

    def simulate(number: int, seed: int) -> Mapping[str, float]:
        draw, design = np.random.default_rng(seed), _design(size, family)
        rates = {}
        for ratio in (0.0, LOG_RATIO):
            predicted = [between if ratio else None, *[None] * (FEWER - 1)]
            judged: list[Judged] = []
            while len(judged) < number:
                chunk = range(len(judged), min(len(judged) + CHUNK, number))
                data = [_drawn(size, draw, responses(ratio, draw)) for _ in chunk]
                for i, one, joint in zip(chunk, data, _joint(size, family, data), strict=True):
                    judged.append(_judge_pooled(design, one, joint, ratio, predicted[i % FEWER]))
            rates[ratio] = _rates(judged)
        return {**rates[LOG_RATIO], "type1": rates[0.0]["type1"]}

    return simulate


def _joint(size: Size, family: str, data: list[Drawn]) -> list[JointFit | None]:
    """Pool complete studies at once; None where each is to be analysed alone."""
    if size.lost:
        return [None] * len(data)
    e, b, t = size.index()
    share = family == "proportion"
    layout = first_stages.Layout(e, b, t, float(TRIALS) if share else 1.0)
    responses = np.stack([response for _, response in data])
    ordinary, stage = first_stages.fit(Binomial() if share else Poisson(), layout, responses)
    fits = iter(joint_pools.pool(stage, size.environments))
    return [next(fits) if one else None for one in ordinary]


def _design(size: Size, family: str) -> Design:
    environment, block, treatment = size.index()
    frame = pd.DataFrame({"e": environment, "b": block, "t": treatment})
    frame["y"], frame["n"] = np.arange(len(frame)) % TRIALS + 1.0, float(TRIALS)
    trials = "n" if family == "proportion" else None
    return make_design(frame, response="y", treatment="t", block="b", environment="e",
                       family=family, trials=trials, control=0)  # fmt: skip


def _drawn(size: Size, draw: np.random.Generator, response: np.ndarray) -> Drawn:
    """Return which plots are left, and the responses of all."""
    return np.sort(draw.permutation(len(response))[size.lost :]), response


def _with(design: Design, drawn: Drawn) -> Design:
    kept, response = drawn
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


def _rates(judged: list[Judged]) -> dict[str, float]:
    """Return type I error, coverage and that of predictions over what was judged."""
    rejected, covered, _ = np.array(judged).mean(axis=0)
    predicted = np.array([chance for *_, chance in judged if chance == chance])
    return {"n": len(judged), "type1": float(rejected), "coverage": float(covered),
            "prediction": float(predicted.mean()) if len(predicted) else float("nan")}  # fmt: skip


def _judge(result: ModelResult, truth: float, between: float) -> Judged:
    """Return whether the test rejects, whether the last interval holds, and its prediction."""
    means, last = result.means, TREATMENTS - 1
    df = float(means.pair_df[0, last])
    covered = _covers(means.estimate, means.covariance, df, truth)
    if result.family != "normal":
        return bool(result.tests.loc[0, "p"] < 0.05), covered, float("nan")
    contrast = _last_against_first()
    se = np.sqrt(contrast @ means.covariance @ contrast)
    varies = 2 * result.components["environment:treatment"]
    low, high = around(contrast @ means.estimate, se, np.asarray(df), varies, 0.95)
    chance = _chance_between((float(low), float(high)), truth, between)
    return bool(result.tests.loc[0, "p"] < 0.05), covered, chance


def _judge_pooled(
    design: Design, drawn: Drawn, joint: JointFit | None, truth: float, between: float | None
) -> Judged:
    """Judge the pooled fit without the tables that fit_two_stage makes of it, for speed.

    The prediction is judged where ``between`` is given, the standard deviation of its truth. Where
    the last treatment, or the check, is without events everywhere it has no prediction.
    """
    if joint is None:
        plan = plan_pooling(study := _with(design, drawn))
        if plan.extreme:
            return _judge_extreme(study, truth)
        joint = pool_jointly(fit_environments(plan), TREATMENTS, "REML")
    covered = _covers(joint.effects, joint.covariance, joint.df, truth)
    rejected = bool(joint.f_test().p < 0.05)
    if between is None:
        return rejected, covered, float("nan")
    ends = joint.prediction(TREATMENTS - 1, 0.95)
    return rejected, covered, _chance_between(ends, truth, between)


def _judge_extreme(study: Design, truth: float) -> Judged:
    result = fit_two_stage(study)
    bound = result.bounds.get((study.treatments[-1], study.treatments[0]))
    if bound is None:
        return _judge(result, truth, 0.0)
    held = bool(bound.low <= np.exp(truth) <= bound.high)
    return bool(result.tests.loc[0, "p"] < 0.05), held, float("nan")


def _chance_between(ends: tuple[float, float], truth: float, sd: float) -> float:
    """Return the chance that a normal truth of one more environment lies between ``ends``."""
    if sd == 0:
        return float(ends[0] <= truth <= ends[1])
    low, high = ((end - truth) / sd for end in ends)
    return float(special.ndtr(high) - special.ndtr(low))


def _covers(estimate: np.ndarray, covariance: np.ndarray, df: float, truth: float) -> bool:
    contrast = _last_against_first()
    reach = special.stdtrit(df, 0.975) * np.sqrt(contrast @ covariance @ contrast)
    return bool(abs(contrast @ estimate - truth) <= reach)


def _last_against_first() -> np.ndarray:
    contrast = np.zeros(TREATMENTS)
    contrast[[0, -1]] = -1, 1
    return contrast
