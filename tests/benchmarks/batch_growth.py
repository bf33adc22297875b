"""Whether a render grows straight: seconds a report and memory of the parent, small and large.

    python -m tests.benchmarks.batch_growth --sizes 5x9,25x40

Sizes are sites x seasons. Each size is rendered once from nothing; then the same command is asked
why. ``--study FOLDER`` takes a study of the last size that was made before. The reports on the
whole study, whose models grow with the study, are told apart from the site-seasons.
"""

import argparse
import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

from tests.benchmarks.batch_ways import ENVIRONMENT, timed
from tests.benchmarks.scaled_study import scaled_study

# The most memory that this program held; what the system calls ru_maxrss would count that of the
# benchmark, whose fork it was.
WATCHED = """
import sys
from pathlib import Path
from trialkit.cli import main
sys.argv = ["trialkit", *sys.argv[1:]]
try:
    main()
finally:
    status = Path("/proc/self/status").read_text()
    print("peak", status.partition("VmHWM:")[2].split()[0], file=sys.stderr)
"""


def watched_render(study: Path, out: Path) -> tuple[float, float, list[float]]:
    """Return seconds, the parent's peak memory in MB, and when each report was done."""
    command = [sys.executable, "-c", WATCHED, "render", str(study), "--out", str(out),
               "--workers", "2"]  # fmt: skip
    begun, done = time.perf_counter(), []
    process = subprocess.Popen(
        command, env=ENVIRONMENT, text=True, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    assert process.stderr is not None
    peak = 0.0
    for line in process.stderr:
        if line.startswith("["):
            done.append(time.perf_counter() - begun)
        if line.startswith("peak "):
            peak = int(line.split()[1]) / 1024
    if process.wait():
        raise RuntimeError(f"the render of {study} failed")
    return time.perf_counter() - begun, peak, done


def size(study: Path, out: Path, site_seasons: int) -> dict[str, float]:
    """Return what there is to say of one size."""
    seconds, peak, done = watched_render(study, out)
    last = done[site_seasons - 1]
    records = [json.loads(path.read_text()) for path in out.rglob("20*/*/record.json")]
    return {
        "site-seasons": site_seasons,
        "seconds": seconds,
        "seconds a report, start counted": last / site_seasons,
        "seconds a report, start left out": (last - done[0]) / (site_seasons - 1),
        "seconds of the last two reports": seconds - last,
        "parent's peak memory, MB": peak,
        "seconds in a worker, median": median(record["seconds"] for record in records),
        "--why, seconds": timed("why", study, out),
        "nothing due, seconds": timed("render", study, out),
    }


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("--sizes", default="5x9,25x40")
    words.add_argument("--study", type=Path)
    asked = words.parse_args()
    sizes = [tuple(map(int, text.split("x"))) for text in asked.sizes.split(",")]
    with tempfile.TemporaryDirectory() as name:
        for place, (sites, seasons) in enumerate(sizes):
            folder = Path(name) / f"study_{place}"
            ready = asked.study if place == len(sizes) - 1 else None
            study = ready or scaled_study(folder, sites, seasons)
            for what, value in size(study, Path(name) / f"out_{place}", sites * seasons).items():
                print(f"| {what} | {value:.2f} |", flush=True)


if __name__ == "__main__":
    main()
