"""The ways in which a season's reports can be made, each from the first process to the last.

Every way makes the same reports from the same notebooks: one for each site-season, one across them
and the final report.

  loop    papermill, then nbconvert, a process each, one report after the other
  two     the same loop, two reports at a time
  render  trialkit render --workers 2
  limit   the same cells in two plain processes, no notebook and no page, imports counted; each
          keeps to one core, since threads of two processes on two cores only hinder each other
  empty   trialkit render --workers 2 of the same notebooks with nothing in their cells: what
          notebooks cost as such
"""

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from trialkit.batch.warm_server import ONE_THREAD
from trialkit.study import read_study

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = ROOT / "notebooks"
# Compiled modules are kept, as they are for everyone: no process need compile the package anew.
KEPT = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
ENVIRONMENT = {**KEPT, "PYTHONPATH": str(ROOT)}
CELLS = """
import json, sys
from pathlib import Path
for line in sys.stdin:
    path, names = json.loads(line)
    notebook = json.loads(Path(path).read_text())
    cells = ["".join(c["source"]) for c in notebook["cells"] if c["cell_type"] == "code"]
    Path(names["output"]).mkdir(parents=True, exist_ok=True)
    exec(cells[0], names2 := {}); names2.update(names)
    for cell in cells[1:]:
        *before, last = cell.strip().splitlines()
        exec("\\n".join(before), names2)
        shown = eval(last, names2)
        for part in shown.parts if hasattr(shown, "_ipython_display_") else [shown]:
            bundle = part._repr_mimebundle_()
            image = bundle[0].get("image/png") if isinstance(bundle, tuple) else None
            if image:
                Path(names["output"], f"{len(image)}.png").write_text(image)
    print("done", flush=True)
"""
EMPTY = """
import sys
from pathlib import Path
from trialkit.batch import Request, render
study, out, notebooks = map(Path, sys.argv[1:])
done = render(Request(study, out, workers=2, notebooks=notebooks))
assert not any(outcome.failed for outcome in done.outcomes)
"""
Job = tuple[str, dict[str, object]]


def jobs_of(study: Path, out: Path) -> tuple[list[Job], list[Job]]:
    """Notebook and parameters of each site-season, and of the reports that rest on all of them."""
    plan = read_study(study)
    here = {"study": str(study)}
    places: list[Job] = [
        ("site_season.ipynb",
         {**here, "season": year, "site": site, "output": str(out / str(year) / site)})
        for year, site in plan.site_seasons()
    ]  # fmt: skip
    whole: list[Job] = [
        (name, {**here, "reports": str(out), "output": str(out / folder)})
        for name, folder in (("final_report.ipynb", "final"), ("across_sites.ipynb", "across"))
    ]
    return places, whole


def run(*command: object) -> None:
    """Run a command to its end; raises CalledProcessError with what it said when it fails."""
    done = subprocess.run(list(map(str, command)), env=ENVIRONMENT, capture_output=True, text=True)
    if done.returncode:
        print(done.stderr[-2000:], file=sys.stderr)
        done.check_returncode()


def plain(job: Job) -> None:
    """What everyone writes: papermill, then nbconvert."""
    template, parameters = job
    folder = Path(str(parameters["output"]))
    folder.mkdir(parents=True, exist_ok=True)
    options = [word for item in parameters.items() for word in ("-p", *item)]
    run(sys.executable, "-m", "papermill", NOTEBOOKS / template, folder / "r.ipynb", *options)
    run(sys.executable, "-m", "nbconvert", "--to", "html", folder / "r.ipynb")


def loop(study: Path, out: Path) -> None:
    """One report after the other."""
    for jobs in jobs_of(study, out):
        for job in jobs:
            plain(job)


def two(study: Path, out: Path) -> None:
    """Two reports at a time."""
    for jobs in jobs_of(study, out):
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(plain, jobs))


def render(study: Path, out: Path) -> None:
    """What this project does."""
    run(sys.executable, "-m", "trialkit.cli", "render", study, "--out", out, "--workers", 2)


def empty(study: Path, out: Path) -> None:
    """Render notebooks whose cells do nothing."""
    with tempfile.TemporaryDirectory() as name:
        for path in NOTEBOOKS.glob("*.ipynb"):
            (Path(name) / path.name).write_text(json.dumps(_emptied(json.loads(path.read_text()))))
        run(sys.executable, "-c", EMPTY, study, out, name)


def _emptied(notebook: dict[str, Any]) -> dict[str, Any]:
    for cell in notebook["cells"]:
        if cell["cell_type"] == "code" and "parameters" not in cell["metadata"].get("tags", ()):
            cell["source"] = "None"
    return notebook


def why(study: Path, out: Path) -> None:
    """Ask what is due, and why."""
    run(sys.executable, "-m", "trialkit.cli", "render", study, "--out", out, "--why")


def limit(study: Path, out: Path) -> None:
    """The cells alone, handed to whichever of two processes is free."""
    with ExitStack() as stack, ThreadPoolExecutor(2) as pool:
        free = [stack.enter_context(Cells()) for _ in range(2)]

        def on_a_free_one(job: Job) -> None:
            worker = free.pop()
            worker.do(job)
            free.append(worker)

        for jobs in jobs_of(study, out):
            list(pool.map(on_a_free_one, jobs))


class Cells:
    """A plain process that runs the cells of one job after the other, and nothing else."""

    def __enter__(self) -> "Cells":
        self.process = subprocess.Popen(
            [sys.executable, "-c", CELLS], env={**ENVIRONMENT, **ONE_THREAD}, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip
        return self

    def __exit__(self, *fault: object) -> None:
        self.process.communicate()

    def do(self, job: Job) -> None:
        """Run one job in this process; raises RuntimeError when it fails."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        template, parameters = job
        self.process.stdin.write(json.dumps([str(NOTEBOOKS / template), parameters]) + "\n")
        self.process.stdin.flush()
        if self.process.stdout.readline() != "done\n":
            raise RuntimeError(f"the cells of {template} failed with {parameters}")


WAYS: dict[str, Callable[[Path, Path], None]] = {
    "loop": loop, "two": two, "render": render, "limit": limit, "empty": empty, "why": why
}  # fmt: skip


def timed(way: str, study: Path, out: Path) -> float:
    """Return the seconds that a way takes."""
    return watched(way, study, out)[0]


def watched(way: str, study: Path, out: Path) -> tuple[float, float]:
    """Return the seconds that a way takes, and the processor seconds of the whole machine."""
    begun, busy = time.perf_counter(), _busy()
    WAYS[way](study, out)
    return time.perf_counter() - begun, _busy() - busy


def _busy() -> float:
    """Seconds that all cores have worked since the machine started; not a number off Linux."""
    try:
        user_nice_system = Path("/proc/stat").read_text().split()[1:4]
    except OSError:
        return math.nan
    return sum(map(int, user_nice_system)) / os.sysconf("SC_CLK_TCK")
