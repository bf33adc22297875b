"""What a second render costs: nothing due, one file changed, and asking why.

    python -m tests.benchmarks.batch_again --sites 5 --seasons 9 --runs 3

A changed file should cost at most two reports and the reports on the whole study. For comparison
these are forced alone, and so is one site-season.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from tests.benchmarks.batch_ways import render, run, sys, timed
from tests.benchmarks.scaled_study import scaled_study


def seconds_of(act: Callable[[], None]) -> float:
    """Return the seconds that something takes."""
    begun = time.perf_counter()
    act()
    return time.perf_counter() - begun


def change_a_count(study: Path) -> None:
    """Add one to a count of the first site-season, so that its findings move."""
    path = sorted(study.rglob("scouting.csv"))[0]
    head, first, *rest = path.read_text(encoding="utf-8").splitlines()
    place = head.split(",").index("count")
    cells = first.split(",")
    cells[place] = str(int(cells[place] or 0) + 1)
    path.write_text("\n".join([head, ",".join(cells), *rest, ""]), encoding="utf-8")


def force(study: Path, out: Path, *options: object) -> Callable[[], None]:
    """Return a render of chosen reports."""
    command = (sys.executable, "-m", "trialkit.cli", "render", study, "--out", out)
    return lambda: run(*command, "--force", *options)


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, usual in (("sites", 5), ("seasons", 9), ("runs", 3)):
        words.add_argument(f"--{name}", type=int, default=usual)
    asked = words.parse_args()
    found: dict[str, list[float]] = {}
    with tempfile.TemporaryDirectory() as name:
        study, out = (
            scaled_study(Path(name) / "study", asked.sites, asked.seasons),
            Path(name) / "r",
        )
        render(study, out)
        season = str(2024 - asked.seasons + 1)
        one = ("--season", season, "--site", "site_1", "--workers", 2)
        for _ in range(asked.runs):
            found.setdefault("nothing due", []).append(timed("render", study, out))
            found.setdefault("--why", []).append(timed("why", study, out))
            change_a_count(study)
            found.setdefault("one file changed", []).append(timed("render", study, out))
            alone = seconds_of(force(study, out, *one))
            found.setdefault("one report by itself, forced", []).append(alone)
    print(f"{asked.sites * asked.seasons} site-seasons, medians of {asked.runs} runs")
    for what, taken in found.items():
        print(f"| {what} | {median(taken):.2f} s |")


if __name__ == "__main__":
    main()
