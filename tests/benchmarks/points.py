"""Do intervals of differences in percentage points hold what they promise in one trial?

    python tests/benchmarks/points.py [--sets 400] [--seed 1]

Culls of 5 treatments in 3, 4 or 6 blocks, the check at 5, 20 or 50 %, odds ratios 0.5, 0.5, 1 and
0.75, fruit of one plot alike or not (correlation 0, 0.03, 0.1), as in scenarios_proportions.py. The
truth is the difference averaged over the trial's own blocks. Compared are ``points`` (what reports
print, points.py of the package) and ``check known`` (the odds ratio's interval laid on the check's
estimated share). Each is the share of 95 % intervals that hold the truth, over all contrasts that
are not mere bounds. Results go into points.csv beside this file.
"""

import argparse
from pathlib import Path

import numpy as np
import pandas as pd
from scenarios_proportions import EFFECTS, draw_culls
from scipy import stats
from scipy.special import expit, logit

from trialkit.inference.events import fit_trial
from trialkit.inference.extremes import TrialFit
from trialkit.inference.families import Binomial
from trialkit.inference.plot_counts import PlotCounts
from trialkit.inference.points import points_interval
from trialkit.inference.treatment_model import Layout

TABLE = Path(__file__).with_suffix(".csv")
EFFECT = EFFECTS["half"]
CELLS = [(b, s, c) for b in (3, 4, 6) for s in (0.05, 0.2, 0.5) for c in (0.0, 0.03, 0.1)]


def trial(
    blocks: int, share: float, correlation: float, rng: np.random.Generator
) -> tuple[PlotCounts, np.ndarray]:
    """Return the plots of one simulated trial and the true share of each treatment (5,)."""
    treatment = np.tile(np.arange(len(EFFECT)), blocks)
    block = np.repeat(np.arange(blocks), len(EFFECT))
    shift = 0.4 * rng.normal(size=blocks)
    link = (shift[block] + EFFECT[treatment])[None]
    culls, fruit = draw_culls(rng, link, share=share, correlation=correlation)
    labels = tuple(map(str, range(len(EFFECT))))
    layout = Layout(treatment, (block,))
    plots = PlotCounts(Binomial(), layout, labels, ("block",), culls[0], fruit[0], treatment)
    return plots, expit(logit(share) + shift[:, None] + EFFECT).mean(axis=0)


def judge(plots: PlotCounts, fit: TrialFit, truth: np.ndarray) -> list[tuple[bool, bool]]:
    """Return, for each contrast that is no bound, whether each of the two intervals holds."""
    link = fit.block_link(plots)
    shifts = np.unique(link[np.isfinite(link)])
    critical = float(stats.t.ppf(0.975, fit.model.df))
    held = []
    for code in range(1, len(EFFECT)):
        if plots.extreme(code) or plots.extreme(0):
            continue
        pair = [int(np.flatnonzero(fit.treatments == one)[0]) for one in (code, 0)]
        estimate = fit.model.estimate[0][pair]
        covariance = fit.model.covariance[0][np.ix_(pair, pair)]
        true = truth[code] - truth[0]
        found = points_interval(estimate, covariance, shifts, critical)
        held.append((found.low <= true <= found.high, _known(estimate, covariance, critical, true)))
    return held


def _known(estimate: np.ndarray, covariance: np.ndarray, critical: float, true: float) -> bool:
    half = critical * np.sqrt(np.array([1, -1]) @ covariance @ np.array([1, -1]))
    check = float(expit(estimate[1]))
    ends = estimate[0] + np.array([-half, half])
    low, high = expit(ends) - check
    return bool(low <= true <= high)


def measure(cell: tuple[int, float, float], sets: int, seed: int) -> dict[str, float]:
    """Return one row of the table."""
    rng = np.random.default_rng(seed)
    held: list[tuple[bool, bool]] = []
    for _ in range(sets):
        plots, truth = trial(*cell, rng)
        held += judge(plots, fit_trial(plots), truth)
    ours, known = np.mean(held, axis=0)
    blocks, share, correlation = cell
    return {"blocks": blocks, "share": share, "correlation": correlation, "intervals": len(held),
            "points": float(ours), "check known": float(known)}  # fmt: skip


def main() -> None:
    options = argparse.ArgumentParser(description=str(__doc__).splitlines()[0])
    options.add_argument("--sets", type=int, default=400)
    options.add_argument("--seed", type=int, default=1)
    given = options.parse_args()
    rows = []
    for number, cell in enumerate(CELLS):
        rows.append(measure(cell, given.sets, given.seed + number))
        print(rows[-1], flush=True)
        pd.DataFrame(rows).round(4).to_csv(TABLE, index=False)


if __name__ == "__main__":
    main()
