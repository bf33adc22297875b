"""Calibration of one site-season with a normal response: blocks, lost plots, Latin square."""

from collections.abc import Mapping
from functools import partial

import numpy as np
import pandas as pd
from cell import Cell

from trialkit.inference import multiplicity, split_plot
from trialkit.inference.batch import BatchFit, batch_fit
from trialkit.inference.design import Design, make_design
from trialkit.inference.linear import fit_design
from trialkit.inference.marginal_means import linear_means
from trialkit.inference.multivariate_t import comparisons, critical

TREATMENTS = ("check", "A", "B", "C", "D")
PATTERNS = 40
STAR = [(i, 0) for i in range(1, 5)]


def cells() -> list[Cell]:
    blocks = [
        cell
        for count in (3, 4, 6)
        for lost in (0, 2)
        for cell in (_rcbd(count, lost, "each"), _rcbd(count, lost, "together"))
    ]
    return [*blocks, _latin(), *(_split(term) for term in ("whole_plot", "treatment"))]


def _rcbd(blocks: int, lost: int, intervals: str) -> Cell:
    method = "F test; 95 % interval of each treatment minus check"
    if intervals == "together":
        method = "F test; Dunnett's 95 % intervals, all four together"
    words = {
        "design": f"{blocks} blocks × 5 treatments",
        "cell": "no lost plot" if not lost else f"{lost} lost plots",
        "method": method,
    }
    simulate = partial(_simulate_blocks, blocks=blocks, lost=lost, intervals=intervals)
    return Cell(f"normal-rcbd-{blocks}-lost{lost}-{intervals}", words, simulate)


def _simulate_blocks(
    n_datasets: int, seed: int, *, blocks: int, lost: int, intervals: str
) -> Mapping[str, float]:
    """Blocks vary three times as much as plots; which plots are lost changes between patterns."""
    rng = np.random.default_rng(seed)
    patterns = PATTERNS if lost else 1
    results = []
    for size in _shares(n_datasets, patterns):
        layout = [(b, t) for b in range(blocks) for t in TREATMENTS]
        kept = np.sort(rng.permutation(len(layout))[lost:])
        frame = pd.DataFrame([layout[i] for i in kept], columns=["block", "treatment"])
        noise = rng.normal(size=(size, len(layout)))
        shifts = np.repeat(3 * rng.normal(size=(size, blocks)), len(TREATMENTS), axis=1)
        results.append(_judge(frame, (noise + shifts)[:, kept], intervals))
    return _pooled(results)


def _shares(total: int, parts: int) -> list[int]:
    return [len(x) for x in np.array_split(np.arange(total), min(parts, total))]


def _judge(frame: pd.DataFrame, responses: np.ndarray, intervals: str) -> tuple[int, int, float]:
    """Return data sets, rejections and the number (per data set) of intervals that hold zero."""
    design = make_design(
        frame.assign(y=responses[0]), response="y", treatment="treatment", control="check",
        **{role: role for role in ("block", "row", "column") if role in frame},
    )  # fmt: skip
    batch = batch_fit(design, responses)
    t = np.abs(batch.differences / batch.standard_errors)
    inside = t <= _critical(design, batch, intervals)
    covered = inside.all(axis=1) if intervals == "together" else inside.mean(axis=1)
    return len(responses), int((batch.p < 0.05).sum()), float(covered.sum())


def _critical(design: Design, batch: BatchFit, intervals: str) -> float:
    if intervals == "together":
        V = linear_means(fit_design(design)).covariance
        return critical(0.95, comparisons(V, STAR), batch.df)
    return float(multiplicity.quantile(0.05, np.array([float(batch.df)]))[0])


def _pooled(results: list[tuple[int, int, float]]) -> dict[str, float]:
    n, rejected, covered = (float(sum(column)) for column in zip(*results, strict=True))
    return {"n": n, "type1": rejected / n, "coverage": covered / n}


def _latin() -> Cell:
    words = {
        "design": "Latin square, 5 × 5",
        "cell": "2 lost plots",
        "method": "F test; 95 % interval of each treatment minus check",
    }
    return Cell("normal-latin-lost2", words, _simulate_latin)


def _simulate_latin(n_datasets: int, seed: int) -> Mapping[str, float]:
    rng = np.random.default_rng(seed)
    results = []
    layout = [(i, j, TREATMENTS[(i + j) % 5]) for i in range(5) for j in range(5)]
    for size in _shares(n_datasets, PATTERNS):
        kept = np.sort(rng.permutation(25)[2:])
        frame = pd.DataFrame([layout[i] for i in kept], columns=["row", "column", "treatment"])
        rows = np.repeat(2 * rng.normal(size=(size, 5)), 5, axis=1)
        columns = np.tile(2 * rng.normal(size=(size, 5)), 5)
        responses = rng.normal(size=(size, 25)) + rows + columns
        results.append(_judge(frame, responses[:, kept], "each"))
    return _pooled(results)


def _split(term: str) -> Cell:
    words = {
        "design": "split plot, 4 blocks × 2 whole plots × 5 treatments",
        "cell": "whole-plot variance equal to that of sub-plots",
        "method": f"F test of {term.replace('_', ' ')} against its own stratum",
    }
    return Cell(f"normal-split-{term}", words, partial(_simulate_split, term=term))


def _simulate_split(n_datasets: int, seed: int, *, term: str) -> Mapping[str, float]:
    rng = np.random.default_rng(seed)
    layout = [(b, w, t) for b in range(4) for w in "pq" for t in TREATMENTS]
    frame = pd.DataFrame(layout, columns=["block", "whole_plot", "treatment"])
    frame["y"] = rng.normal(size=len(frame))
    design = make_design(frame, response="y", treatment="treatment", block="block",
                         whole_plot="whole_plot", control="check")  # fmt: skip
    whole = np.repeat(rng.normal(size=(n_datasets, 8)), 5, axis=1)
    rejected, covered = 0, 0.0
    for y in rng.normal(size=(n_datasets, 40)) + whole:
        strata = split_plot.split_strata(_with_response(design, y))
        tests = split_plot.split_tests(strata).set_index("term")
        rejected += float(tests.loc[term, "p"]) < 0.05
        covered += _split_coverage(strata)
    coverage = covered / n_datasets if term == "treatment" else float("nan")
    return {"n": float(n_datasets), "type1": rejected / n_datasets, "coverage": coverage}


def _with_response(design: Design, y: np.ndarray) -> Design:
    return Design(design.frame.assign(response=y), design.dropped, design.control, design.family,
                  design.names, design.rows)  # fmt: skip


def _split_coverage(strata: split_plot.Strata) -> float:
    means = strata.y.mean(axis=(0, 1))
    se = np.sqrt(2 * strata.mean_square("sub_plot_error") / 8)
    limit = multiplicity.quantile(0.05, np.array([float(strata.df["sub_plot_error"])]))[0]
    return float((np.abs(means[1:] - means[0]) <= limit * se).mean())
