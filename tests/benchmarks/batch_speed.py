"""How fast a season renders, against the plain loop and against the cells alone.

    python -m tests.benchmarks.batch_speed --sites 5 --seasons 9 --runs 3
    python -m tests.benchmarks.batch_speed --sites 4 --seasons 3 --runs 3
    python -m tests.benchmarks.batch_speed --ways render,limit --runs 5

Run it from the clone, on a quiet machine with two cores; start-up is counted. The ways
(tests/benchmarks/batch_ways.py) take turns within a run, so that a ratio compares runs made side
by side. The table gives medians over the runs, and the bars that the batch is held to.
"""

import argparse
import os
import shutil
import tempfile
from pathlib import Path
from statistics import median

from tests.benchmarks.batch_ways import WAYS, timed
from tests.benchmarks.scaled_study import scaled_study

BARS = {"loop": "12 at 45 reports, 10 at 12", "two": "at least 5", "limit": "at least 0.87"}


def measure(study: Path, folder: Path, ways: list[str], runs: int) -> dict[str, list[float]]:
    """Return the seconds of each way and run."""
    seconds: dict[str, list[float]] = {way: [] for way in ways}
    for _ in range(runs):
        for way, found in seconds.items():
            out = folder / way
            shutil.rmtree(out, ignore_errors=True)
            found.append(timed(way, study, out))
            print(f"{way}: {found[-1]:.1f} s (load {os.getloadavg()[0]:.1f})", flush=True)
    return seconds


def table(seconds: dict[str, list[float]], reports: int) -> str:
    """Return the medians, a line for each way; the ratios are medians of paired runs."""
    lines = ["| way | seconds | a report | render is faster by | bar |", "| --- " * 5 + "|"]
    for way, found in seconds.items():
        ratios = [
            other / own for other, own in zip(found, seconds.get("render", found), strict=True)
        ]
        middle = median(found)
        lines.append(
            f"| {way} | {middle:.1f} | {middle / reports:.2f} | {median(ratios):.2f} | "
            f"{BARS.get(way, '')} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, usual in (("sites", 5), ("seasons", 9), ("runs", 3)):
        words.add_argument(f"--{name}", type=int, default=usual)
    words.add_argument("--ways", default="loop,two,render,limit", help=", ".join(WAYS))
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        study = scaled_study(Path(name) / "study", asked.sites, asked.seasons)
        seconds = measure(study, Path(name), asked.ways.split(","), asked.runs)
    reports = asked.sites * asked.seasons + 2
    print(f"\n{asked.sites * asked.seasons} site-seasons, {reports} reports, {asked.runs} runs")
    print(table(seconds, reports))


if __name__ == "__main__":
    main()
