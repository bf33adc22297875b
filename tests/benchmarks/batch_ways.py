"""The ways in which a season's reports can be made, each from the first process to the last.

Every way makes the same reports from the same notebooks: one for each site-season, one across them
and the final report.

  loop    papermill, then nbconvert, a process each, one report after the other
  two     the same loop, two reports at a time
  render  trialkit render --workers 2
  limit   the same cells in two plain processes, no notebook and no page, imports counted; each
          keeps to one core, since threads of two processes on two cores only hinder each other
"""

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

from trialkit.batch.warm_server import ONE_THREAD
from trialkit.study import read_study

ROOT = Path(__file__).resolve().parents[2]
NOTEBOOKS = ROOT / "notebooks"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}
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
    "loop": loop, "two": two, "render": render, "limit": limit, "why": why
}  # fmt: skip


def timed(way: str, study: Path, out: Path) -> float:
    """Return the seconds that a way takes."""
    begun = time.perf_counter()
    WAYS[way](study, out)
    return time.perf_counter() - begun
