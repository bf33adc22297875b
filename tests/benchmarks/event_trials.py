"""Simulated trials of counts or shares, judged by the functions that analyse a real trial."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy import stats

from trialkit.inference import families, randomisation_test, treatment_model
from trialkit.inference.equal_treatments import block_scores
from trialkit.inference.events import fit_trial
from trialkit.inference.extremes import find_bounds
from trialkit.inference.plot_counts import PlotCounts
from trialkit.inference.treatment_model import Layout

PATTERNS = 40
DRAWS = 1999
TREATMENTS = 5
Draw = Callable[[np.random.Generator, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class Trial:
    """What is simulated: ``effect`` (5,) on the link; ``draw``: (rng, link (d, n)) -> (y, size).

    Block effects are normal on the link with standard deviation 0.4.
    """

    family: families.Family
    blocks: int
    lost: int
    effect: np.ndarray
    draw: Draw

    def simulate(
        self, n_datasets: int, seed: int
    ) -> "list[tuple[Layout, np.ndarray, np.ndarray, np.random.Generator]]":
        """Return chunks of data sets that share which plots are lost."""
        rng = np.random.default_rng(seed)
        treatment = np.tile(np.arange(TREATMENTS), self.blocks)
        block = np.repeat(np.arange(self.blocks), TREATMENTS)
        chunks = []
        for part in np.array_split(np.arange(n_datasets), min(PATTERNS, n_datasets)):
            kept = np.sort(rng.permutation(len(block))[self.lost :])
            shift = 0.4 * rng.normal(size=(len(part), self.blocks))
            link = shift[:, block] + self.effect[treatment]
            response, size = self.draw(rng, link)
            chunks.append((Layout(treatment[kept], (block[kept],)),
                           response[:, kept], size[:, kept], rng))  # fmt: skip
        return chunks


def judge(trial: Trial, n_datasets: int, seed: int) -> Mapping[str, float]:
    """Return type I error of the randomisation test (no effect) and coverage of the intervals.

    Coverage is over all contrasts with the check that have an interval; those that have only a
    bound are judged by ``judge_bounds``.
    """
    rejected, held, intervals = 0, 0, 0
    for layout, response, size, rng in trial.simulate(n_datasets, seed):
        block = layout.blocks[0]
        scores = block_scores(trial.family, block, response, size)
        p = randomisation_test.many(scores, layout.treatment, block, DRAWS, rng)
        rejected += int((p < 0.05).sum())
        inside, number = _coverage(trial, layout, response, size)
        held, intervals = held + inside, intervals + number
    null = not trial.effect[1:].any() or bool((trial.effect == trial.effect[0]).all())
    return {"n": n_datasets, "type1": rejected / n_datasets if null else float("nan"),
            "coverage": held / intervals}  # fmt: skip


def _coverage(
    trial: Trial, layout: Layout, response: np.ndarray, size: np.ndarray
) -> tuple[int, int]:
    """Return how many intervals hold the truth, and how many there are."""
    held, number = 0, 0
    share = isinstance(trial.family, families.Binomial)
    whole = bool((response == np.round(response)).all())
    groups: dict[bytes, list[int]] = {}
    for i in range(len(response)):
        kept = treatment_model.informative(layout, response[i], size[i] if share else None)
        groups.setdefault(kept.tobytes(), []).append(i)
    for rows in groups.values():
        first = rows[0]
        top = size[first] if share else None
        if not response[first].any():
            continue
        chosen = treatment_model.select(layout, response[first], top)
        kept, codes = chosen.kept, np.unique(layout.treatment[chosen.kept])
        if 0 not in codes or len(codes) == 1:
            continue
        fit = treatment_model.fit(
            trial.family, chosen.layout, response[np.ix_(rows, kept)], size[np.ix_(rows, kept)],
            whole=whole, penalised=chosen.penalised,
        )  # fmt: skip
        truth = trial.effect[codes[1:]] - trial.effect[0]
        found = fit.estimate[:, 1:] - fit.estimate[:, :1]
        V = fit.covariance
        variance = np.diagonal(V, axis1=1, axis2=2)[:, 1:] + V[:, :1, 0] - 2 * V[:, 0, 1:]
        reach = stats.t.ppf(0.975, fit.interval_df)[:, None] * np.sqrt(variance)
        known = _known(layout, codes, response[rows], size[rows] if share else None)
        held += int(((np.abs(found - truth) <= reach) & known).sum())
        number += int(known.sum())
    return held, number


def _known(
    layout: Layout, codes: np.ndarray, response: np.ndarray, top: np.ndarray | None
) -> np.ndarray:
    """Return which contrasts (d, treatments) with the check are intervals and not bounds."""
    columns = []
    for code in codes:
        inside = layout.treatment == code
        extreme = ~response[:, inside].any(1)
        if top is not None:
            extreme |= (response[:, inside] == top[:, inside]).all(1)
        columns.append(~extreme)
    table = np.stack(columns, axis=1)
    return table[:, 1:] & table[:, :1]


def judge_bounds(trial: Trial, n_datasets: int, seed: int) -> Mapping[str, float]:
    """Return the share of data sets in which no bound on treatment 1 against the check fails.

    Only data sets in which treatment 1 has nothing, and the check something, can fail.
    """
    failed = 0
    truth = float(np.exp(trial.effect[1] - trial.effect[0]))
    labels = tuple(str(i) for i in range(TREATMENTS))
    for layout, response, size, _ in trial.simulate(n_datasets, seed):
        mine, check = layout.treatment == 1, layout.treatment == 0
        empty = ~response[:, mine].any(1) & response[:, check].any(1)
        for i in np.flatnonzero(empty):
            plots = PlotCounts(trial.family, layout, labels, ("block",), response[i], size[i],
                               np.arange(len(size[i])))  # fmt: skip
            bound = find_bounds(plots, fit_trial(plots), 0.95)["1", "0"]
            failed += int(not bound.low <= truth <= bound.high)
    return {"n": n_datasets, "type1": float("nan"), "coverage": 1 - failed / n_datasets}
