"""How fast a season renders, against the plain loop and against the cells alone.

    python -m tests.benchmarks.batch_speed --sites 5 --seasons 9 --runs 3

Run it from the clone, on a quiet machine with two cores. Every way makes the same reports from the
same notebooks: one for each simulated site-season and one across them, start-up counted.

  loop    papermill, then nbconvert, a process each, one report after the other
  two     the same loop, two reports at a time
  render  trialkit render --workers 2
  limit   the same cells in two plain processes, no notebook and no page, imports counted

The ways take turns within a run, so that a ratio compares runs made side by side; the table gives
medians over the runs.
"""

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from statistics import median

from tests.benchmarks.scaled_study import scaled_study
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
        bundle = shown._repr_mimebundle_() if shown is not None else {}
        image = bundle[0].get("image/png") if isinstance(bundle, tuple) else None
        if image:
            Path(names["output"], f"{len(image)}.png").write_text(image)
    print("done", flush=True)
"""
Job = tuple[str, dict[str, object]]


def jobs_of(study: Path, out: Path) -> list[Job]:
    """The notebook and the parameters of each site-season, and of the report across last."""
    plan = read_study(study)
    here = {"study": str(study)}
    places = [
        ("site_season.ipynb",
         {**here, "season": year, "site": site, "output": str(out / str(year) / site)})
        for year, site in plan.site_seasons()
    ]  # fmt: skip
    across = {**here, "reports": str(out), "output": str(out / "across")}
    return [*places, ("across_sites.ipynb", across)]


def run(*command: object) -> None:
    words = list(map(str, command))
    subprocess.run(words, check=True, env=ENVIRONMENT, capture_output=True)


def plain(job: Job) -> None:
    """What everyone writes: papermill, then nbconvert."""
    template, parameters = job
    folder = Path(str(parameters["output"]))
    folder.mkdir(parents=True, exist_ok=True)
    options = [word for item in parameters.items() for word in ("-p", *item)]
    run(sys.executable, "-m", "papermill", NOTEBOOKS / template, folder / "r.ipynb", *options)
    run(sys.executable, "-m", "nbconvert", "--to", "html", folder / "r.ipynb")


def loop(study: Path, out: Path) -> None:
    for job in jobs_of(study, out):
        plain(job)


def two(study: Path, out: Path) -> None:
    *places, across = jobs_of(study, out)
    with ThreadPoolExecutor(2) as pool:
        list(pool.map(plain, places))
    plain(across)


def render(study: Path, out: Path) -> None:
    run(sys.executable, "-m", "trialkit.cli", "render", study, "--out", out, "--workers", 2)


def limit(study: Path, out: Path) -> None:
    *places, across = jobs_of(study, out)
    with ExitStack() as stack:
        workers = [stack.enter_context(Cells()) for _ in range(2)]
        with ThreadPoolExecutor(2) as pool:
            list(pool.map(Cells.do_all, workers, [places[0::2], places[1::2]]))
        workers[0].do_all([across])


class Cells:
    """A plain process that runs the cells of one job after the other, and nothing else."""

    def __enter__(self) -> "Cells":
        self.process = subprocess.Popen(
            [sys.executable, "-c", CELLS], env=ENVIRONMENT, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        return self

    def __exit__(self, *fault: object) -> None:
        self.process.communicate()

    def do_all(self, jobs: list[Job]) -> None:
        """Run jobs in this process; raises RuntimeError when one fails."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        for template, parameters in jobs:
            self.process.stdin.write(json.dumps([str(NOTEBOOKS / template), parameters]) + "\n")
            self.process.stdin.flush()
            if self.process.stdout.readline() != "done\n":
                raise RuntimeError(f"the cells of {template} failed with {parameters}")


WAYS: dict[str, Callable[[Path, Path], None]] = {
    "loop": loop, "two": two, "render": render, "limit": limit
}  # fmt: skip


def timed(way: str, study: Path, out: Path) -> float:
    begun = time.perf_counter()
    WAYS[way](study, out)
    return time.perf_counter() - begun


def again(study: Path, out: Path) -> dict[str, float]:
    """Seconds of a render with nothing due, with one site-season's file changed, and of --why."""
    found = {"nothing due": timed("render", study, out)}
    plots = sorted(study.rglob("scouting.csv"))[0]
    plots.write_bytes(plots.read_bytes().replace(b"\r\n", b"\n") + b"\n")
    found["one file changed"] = timed("render", study, out)
    begun = time.perf_counter()
    run(sys.executable, "-m", "trialkit.cli", "render", study, "--out", out, "--why")
    return {**found, "--why": time.perf_counter() - begun}


def main() -> None:
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, usual in (("sites", 5), ("seasons", 9), ("runs", 3)):
        words.add_argument(f"--{name}", type=int, default=usual)
    words.add_argument("--ways", default=",".join(WAYS))
    asked = words.parse_args()
    seconds: dict[str, list[float]] = {way: [] for way in asked.ways.split(",")}
    with tempfile.TemporaryDirectory() as name:
        study = scaled_study(Path(name) / "study", asked.sites, asked.seasons)
        for _ in range(asked.runs):
            for way, found in seconds.items():
                out = Path(name) / way
                shutil.rmtree(out, ignore_errors=True)
                found.append(timed(way, study, out))
                print(f"{way}: {found[-1]:.1f} s (load {os.getloadavg()[0]:.1f})", flush=True)
        rest = again(study, Path(name) / "render") if "render" in seconds else {}
    reports = asked.sites * asked.seasons + 1
    print(f"\n{reports} reports, median of {asked.runs} runs")
    for way, found in seconds.items():
        ratios = [
            other / own for other, own in zip(found, seconds.get("render", found), strict=True)
        ]
        middle = median(found)
        print(f"| {way} | {middle:.1f} s | {middle / reports:.2f} s a report | "
              f"{median(ratios):.2f} x render |")  # fmt: skip
    for what, taken in rest.items():
        print(f"| {what} | {taken:.2f} s |")
    print(f"peak memory of any child: {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss} kB")


if __name__ == "__main__":
    main()
