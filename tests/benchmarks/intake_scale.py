"""How long `trialkit check` takes for studies of growing size, a row at a time and in memory.

    PYTHONPATH=. python tests/benchmarks/intake_scale.py [SITE_SEASONS ...]

Each study is the example's plan at invented sites, twenty blocks, ten visits, five plants a plot:
5,000 scouting rows a site-season. The command runs in a process of its own with two that read.
Printed are wall seconds, CPU seconds of all processes, largest memory of any one process and the
CPU time per scouting row against that of the first size; CPU time tells more than wall time where
the machine has other work to do.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from multiprocessing import get_context
from pathlib import Path

from scaled_study import scaled_study

from trialkit.study import read_study

SEASONS, BLOCKS, WORKERS = 10, 20, 2


def measured(folder: Path, site_seasons: int) -> dict[str, float]:
    """Make a study of this size, check it, and return what it took."""
    _made_elsewhere(folder, max(1, site_seasons // SEASONS))
    study = read_study(folder)
    rows = sum(
        (study.data_folder(*place) / "scouting.csv").read_bytes().count(b"\n") - 1
        for place in study.site_seasons()
    )
    command = [sys.executable, "-m", "trialkit.cli", "check", str(folder), "--json"]
    start = time.perf_counter()
    with tempfile.TemporaryFile() as printed:
        running = subprocess.Popen([*command, "--workers", str(WORKERS)], stdout=printed)
        _, _, used = os.wait4(running.pid, 0)
        wall = time.perf_counter() - start
        running.returncode = 0
        printed.seek(0)
        faults = json.load(printed)["faults"]
    return {
        "site_seasons": len(study.site_seasons()),
        "scouting_rows": rows,
        "errors": sum(fault["severity"] == "error" for fault in faults),
        "wall_s": wall,
        "cpu_s": used.ru_utime + used.ru_stime,
        "largest_process_mb": used.ru_maxrss / 1024,
    }


def _made_elsewhere(folder: Path, sites: int) -> None:
    """Make the study in a process of its own.

    Linux counts the memory of the process that starts a command as the command's own, so that this
    process has to stay small.
    """
    maker = get_context("spawn").Process(target=scaled_study, args=(folder, sites, SEASONS, BLOCKS))
    maker.start()
    maker.join()
    if maker.exitcode:
        raise SystemExit(f"the study could not be made: exit status {maker.exitcode}")


def main() -> None:
    """Print one line a size."""
    first = 0.0
    for size in map(int, sys.argv[1:] or ("10", "100", "1000")):
        with tempfile.TemporaryDirectory() as folder:
            found = measured(Path(folder) / "study", size)
        per_row = found["cpu_s"] / found["scouting_rows"]
        first = first or per_row
        found["per_row_ratio"] = per_row / first
        print("  ".join(f"{name} {value:.4g}" for name, value in found.items()), flush=True)


if __name__ == "__main__":
    main()
