"""Renders that are killed at random moments end, the next time, as if nothing had been.

    python -m tests.benchmarks.batch_kills --kills 200 --seed 1
    python -m tests.benchmarks.batch_kills --cluster

A small study is rendered again and again, every report forced, and something of it is killed at a
moment drawn from the seed: mostly the render itself, sometimes one of its processes (a worker, a
kernel, the server), whose render then goes on to its end. After each kill no process may be left,
and every page and findings file must be the very bytes of an undisturbed render. Now and then, and
at the end, a render that is left alone must bring back all of them.

``--cluster`` renders on a dask cluster of two workers, and kills first one, then the other.
"""

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from tests.benchmarks.batch_ways import ENVIRONMENT, render
from tests.benchmarks.scaled_study import scaled_study

KEPT = ("report.html", "report.ipynb", "findings.csv", "plot_values.csv", "facts.json")
EVERY = 25  # kills between two renders that are left alone
PATIENCE = 10.0  # seconds in which processes of a killed render must be gone, on a busy machine too
MARK = "TRIALKIT_BENCHMARK_RENDER"


def files(out: Path) -> dict[str, bytes]:
    """All finished files of a render, by name; what tells the time is left out."""
    found = (path for path in out.rglob("*") if path.name in KEPT)
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in found
        if not path.parent.name.startswith(".unfinished-")
    }


def marked(mark: str) -> list[int]:
    """Processes that live and were started, however indirectly, with this mark."""
    return [int(path.name) for path in Path("/proc").iterdir() if _is_marked(path, mark)]


def _is_marked(process: Path, mark: str) -> bool:
    if not process.name.isdigit():
        return False
    try:
        state = (process / "stat").read_text().rsplit(")", 1)[1].split()[0]
        return state != "Z" and f"{MARK}={mark}".encode() in (process / "environ").read_bytes()
    except OSError:
        return False


def all_gone(mark: str) -> bool:
    """Say whether the processes of a render end within PATIENCE seconds."""
    deadline = time.monotonic() + PATIENCE
    while marked(mark):
        if time.monotonic() > deadline:
            return False
        time.sleep(0.05)
    return True


@dataclass
class Tally:
    """What happened, and what should not have."""

    struck: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def expect(self, holds: bool, words: str) -> None:
        """Note what does not hold."""
        if not holds:
            self.wrong.append(words)
            print(f"WRONG: {words}", flush=True)


def kill_one(study: Path, out: Path, moment: float, whole: bool, chance: random.Random) -> str:
    """Start a forced render, kill it or one of its processes, wait for its end; say what died."""
    mark = uuid.uuid4().hex
    command = [sys.executable, "-m", "trialkit.cli", "render", str(study), "--out", str(out),
               "--workers", "2", "--force"]  # fmt: skip
    process = subprocess.Popen(
        command, env={**ENVIRONMENT, MARK: mark},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip
    time.sleep(moment)
    others = [pid for pid in marked(mark) if pid != process.pid]
    victim = process.pid if whole or not others else chance.choice(sorted(others))
    ended = process.poll() is not None
    with suppress(ProcessLookupError):
        os.kill(victim, signal.SIGKILL)
    process.wait(timeout=120)
    gone = all_gone(mark)
    what = "nothing, it was done" if ended else "render" if victim == process.pid else "a process"
    return what if gone else f"{what}, and processes were left"


def compare(out: Path, undisturbed: dict[str, bytes], tally: Tally, when: str) -> None:
    """Every file that is there must be that of the undisturbed render."""
    for name, content in files(out).items():
        tally.expect(content == undisturbed.get(name), f"{name} differs {when}")


def kills(study: Path, folder: Path, number: int, seed: int) -> Tally:
    """Kill so many renders and say what came of it."""
    out, tally, chance = folder / "killed", Tally(), random.Random(seed)
    begun = time.perf_counter()
    render(study, folder / "undisturbed")
    longest = time.perf_counter() - begun
    undisturbed = files(folder / "undisturbed")
    for count in range(1, number + 1):
        moment, whole = chance.uniform(0.1, longest), chance.random() < 0.75
        what = kill_one(study, out, moment, whole, chance)
        tally.struck[what] += 1
        tally.expect("left" not in what, f"kill {count} left processes behind")
        compare(out, undisturbed, tally, f"after kill {count}")
        if count % EVERY == 0 or count == number:
            render(study, out)
            tally.expect(files(out) == undisturbed, f"files differ when mended at {count}")
            tally.expect(not any(out.rglob(".unfinished-*")), f"unfinished work left at {count}")
            print(f"{count} kills: {dict(tally.struck)}", flush=True)
    return tally


def lost_workers(study: Path, folder: Path) -> Tally:
    """Render on a cluster whose workers are killed one after the other."""
    from distributed import Client, LocalCluster

    tally = Tally()
    render(study, folder / "undisturbed")
    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None}
    with LocalCluster(processes=True, host="127.0.0.1", **options) as cluster:
        with Client(cluster, set_as_default=False) as client:
            victims = list(client.run(os.getpid).values())
        out = folder / "cluster"
        process = subprocess.Popen(
            [sys.executable, "-m", "trialkit.cli", "render", str(study), "--out", str(out),
             "--scheduler", cluster.scheduler_address],
            env=ENVIRONMENT, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        for wanted, victim in zip((1, 3), victims, strict=True):
            for _ in until_done(out, wanted, process):
                time.sleep(0.05)
            os.kill(victim, signal.SIGKILL)
            tally.struck["dask worker"] += 1
        tally.expect(process.wait(timeout=600) == 0, "the render on the cluster failed")
    tally.expect(files(out) == files(folder / "undisturbed"), "files of the cluster differ")
    return tally


def until_done(out: Path, wanted: int, process: subprocess.Popen[bytes]) -> Iterator[None]:
    """Go on until so many reports are finished, or the render has ended."""
    while process.poll() is None and len(list(out.rglob("record.json"))) < wanted:
        yield


def main() -> None:
    """Kill and print; the exit status says whether anything was wrong."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    for name, usual in (("kills", 200), ("seed", 1), ("sites", 2), ("seasons", 1)):
        words.add_argument(f"--{name}", type=int, default=usual)
    words.add_argument("--cluster", action="store_true")
    asked = words.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sites, seasons = (3, 2) if asked.cluster else (asked.sites, asked.seasons)
        study = scaled_study(folder / "study", sites, seasons)
        if asked.cluster:
            tally = lost_workers(study, folder)
        else:
            tally = kills(study, folder, asked.kills, asked.seed)
    print(f"killed: {dict(tally.struck)}; wrong: {len(tally.wrong)}")
    raise SystemExit(1 if tally.wrong else 0)


if __name__ == "__main__":
    main()
