"""How fast is the mixed model with Kenward-Roger, and how does its cost grow?

    python tests/benchmarks/speed_mixed.py [--repeats 7]

All ratios come from one run, from medians. The balanced layout is 4 blocks x 5 treatments per
environment; the unbalanced one has 20 % of its plots lost at random, so that nearly every
environment has a pattern of its own. The comparison with lme4 + pbkrtest is made where Rscript is
on the path, with the time taken inside R: reading data and starting R are not counted.
"""

import argparse
import shutil
import statistics
import subprocess
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.inference.design import Design, make_design
from trialkit.inference.mixed import fit_mixed

HERE = Path(__file__).parent
LOST_SHARE = 0.2


def study(environments: int, lost_share: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """Return an invented study of 4 blocks x 5 treatments per environment."""
    draw = np.random.default_rng(seed)
    e, b, t = (a.ravel() for a in np.indices((environments, 4, 5)))
    y = (
        10
        + draw.normal(size=environments)[e]
        + 0.7 * draw.normal(size=(environments, 4))[e, b]
        + 0.5 * draw.normal(size=(environments, 5))[e, t]
        + draw.normal(size=len(e))
    )
    frame = pd.DataFrame({"environment": e, "block": b, "treatment": t, "y": y})
    return frame.sample(frac=1 - lost_share, random_state=seed).sort_index()


def design_of(frame: pd.DataFrame) -> Design:
    return make_design(
        frame, response="y", treatment="treatment", block="block", environment="environment"
    )


def median_seconds(action: Callable[[], object], repeats: int) -> float:
    action()
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def peak_megabytes(action: Callable[[], object]) -> float:
    tracemalloc.start()
    action()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 1e6


def growth(lost_share: float, repeats: int) -> None:
    """Print time and memory at 100 and 1,000 environments and their ratios."""
    seconds, megabytes = {}, {}
    for environments in (100, 1000):
        design = design_of(study(environments, lost_share))
        seconds[environments] = median_seconds(lambda d=design: fit_mixed(d), repeats)
        megabytes[environments] = peak_megabytes(lambda d=design: fit_mixed(d))
    name = f"{100 * lost_share:g} % of plots lost" if lost_share else "balanced"
    print(
        f"{name}: 100 environments {seconds[100]:.3f} s, {megabytes[100]:.0f} MB; "
        f"1,000 environments {seconds[1000]:.3f} s, {megabytes[1000]:.0f} MB; "
        f"ratios {seconds[1000] / seconds[100]:.1f} and {megabytes[1000] / megabytes[100]:.1f}"
    )


def seconds_in_r(frame: pd.DataFrame, repeats: int) -> float:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "data.csv"
        frame.to_csv(path, index=False)
        command = ["Rscript", str(HERE / "speed_mixed.R"), str(path), str(repeats)]
        done = subprocess.run(command, check=True, capture_output=True, text=True)
    return statistics.median(float(line) for line in done.stdout.split())


def against_r(lost_share: float, repeats: int) -> None:
    """Print the time of 9 environments here and in R, and the ratio."""
    frame = study(9, lost_share)
    design = design_of(frame)
    here, there = median_seconds(lambda: fit_mixed(design), repeats), seconds_in_r(frame, repeats)
    print(
        f"9 environments, {len(frame)} plots: {1000 * here:.1f} ms, lme4 + pbkrtest "
        f"{1000 * there:.0f} ms inside R; {there / here:.1f} times faster"
    )


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--repeats", type=int, default=7)
    repeats = options.parse_args().repeats
    for lost_share in (0.0, LOST_SHARE):
        growth(lost_share, repeats)
    if shutil.which("Rscript") is None:
        print("Rscript is not on the path: no comparison with lme4 + pbkrtest.")
        return
    for lost_share in (0.0, LOST_SHARE):
        against_r(lost_share, repeats)


if __name__ == "__main__":
    main()
