"""How fast a season renders, against the plain loop and against the cells alone.

    python -m tests.benchmarks.batch_speed --sites 5 --seasons 9 --runs 3
    python -m tests.benchmarks.batch_speed --sites 4 --seasons 3 --runs 3
    python -m tests.benchmarks.batch_speed --ways render,limit,empty --runs 5

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

from tests.benchmarks.batch_ways import WAYS, watched
from tests.benchmarks.scaled_study import scaled_study

BARS = {"loop": "12 at 45 reports, 10 at 12", "two": "at least 5", "limit": "at least 0.87"}


def measure(
    study: Path, folder: Path, ways: list[str], runs: int
) -> dict[str, list[tuple[float, float]]]:
    """Return the seconds of each way and run, and the processor seconds."""
    found: dict[str, list[tuple[float, float]]] = {way: [] for way in ways}
    for _ in range(runs):
        for way, times in found.items():
            out = folder / way
            shutil.rmtree(out, ignore_errors=True)
            times.append(watched(way, study, out))
            said = f"{way}: {times[-1][0]:.1f} s, processor {times[-1][1]:.1f} s"
            print(f"{said} (load {os.getloadavg()[0]:.1f})", flush=True)
    return found


def table(found: dict[str, list[tuple[float, float]]], reports: int) -> str:
    """Return the medians, a line for each way; the ratios are medians of paired runs."""
    head = "| way | seconds | a report | processor a report | render is faster by | bar |"
    lines = [head, "| --- " * 6 + "|"]
    base = found.get("render")
    for way, times in found.items():
        ratios = [other[0] / own[0] for other, own in zip(times, base or times, strict=True)]
        seconds, processor = (median(column) for column in zip(*times, strict=True))
        lines.append(
            f"| {way} | {seconds:.1f} | {seconds / reports:.2f} | {processor / reports:.2f} | "
            f"{median(ratios):.2f} | {BARS.get(way, '')} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, usual in (("sites", 5), ("seasons", 9), ("runs", 3)):
        words.add_argument(f"--{name}", type=int, default=usual)
    words.add_argument("--ways", default="loop,two,render,limit,empty", help=", ".join(WAYS))
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        study = scaled_study(Path(name) / "study", asked.sites, asked.seasons)
        found = measure(study, Path(name), asked.ways.split(","), asked.runs)
    reports = asked.sites * asked.seasons + 2
    print(f"\n{asked.sites * asked.seasons} site-seasons, {reports} reports, {asked.runs} runs")
    print(table(found, reports))


if __name__ == "__main__":
    main()
