"""A task with everything it reads, for workers that see no file of this machine.

The files travel with the task, and the notebook as it ran travels back; they stand at the same
places relative to each other as here, so that a report is the same bytes wherever it was made.
"""

import os
import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from trialkit.batch.execute import Run
from trialkit.batch.files import disk_faults_in_words, staging_beside, write_synced
from trialkit.batch.record import HANDED_ON
from trialkit.batch.work import Outcome, Task, finish_report, run_notebook, told
from trialkit.errors import TrialkitError

Files = Mapping[str, bytes]


@dataclass(frozen=True)
class Parcel:
    """A task whose paths are relative to a common folder, and the files that belong there."""

    task: Task
    files: Files


@dataclass(frozen=True)
class Delivery:
    """What came of a parcel: the notebook as it ran, the files that it wrote, or its faults."""

    run: Run | None
    files: Files
    seconds: float
    faults: tuple[str, ...] = ()


def pack(task: Task) -> Parcel:
    """Gather the files that a task reads."""
    root = Path(os.path.commonpath([task.study, task.folder, task.template]))
    paths = [task.template, *_study_files(task), *_handed_on(task)]
    files = {path.relative_to(root).as_posix(): path.read_bytes() for path in paths}
    moved = _placed(task, lambda path: path.relative_to(root))
    return Parcel(moved, files)


def make_from_parcel(parcel: Parcel) -> Delivery:
    """Make the report of a parcel in a folder of its own; runs on the other machine."""
    with tempfile.TemporaryDirectory(prefix="tk-") as name:
        root = Path(name).resolve()
        for relative, content in parcel.files.items():
            path = root / relative
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(content)
        return _delivery(_placed(parcel.task, lambda path: root / path))


def _delivery(task: Task) -> Delivery:
    started = time.perf_counter()
    try:
        with disk_faults_in_words(task.folder), staging_beside(task.folder) as staging:
            run = run_notebook(task, staging)
            files = {path.name: path.read_bytes() for path in sorted(staging.iterdir())}
            return Delivery(run, files, time.perf_counter() - started)
    except TrialkitError as error:
        faults = tuple(str(error).splitlines())
        return Delivery(None, {}, time.perf_counter() - started, faults)


def unpack(delivery: Delivery, task: Task) -> Outcome:
    """Finish a report whose notebook ran elsewhere: people's words are here, and its place is."""
    started = time.perf_counter() - delivery.seconds
    if delivery.run is None:
        return told(task, delivery.faults, delivery.seconds)
    try:
        with disk_faults_in_words(task.folder), staging_beside(task.folder) as staging:
            for name, content in delivery.files.items():
                write_synced(staging / name, content)
            return finish_report(task, delivery.run, staging, started)
    except TrialkitError as error:
        return told(task, tuple(str(error).splitlines()), delivery.seconds)


def _study_files(task: Task) -> list[Path]:
    data = task.study / "data" / task.target.key
    beside = [path for path in task.study.iterdir() if path.is_file()]
    told = [path for path in (task.study / "narrative").rglob("*") if path.is_file()]
    return [*beside, *told, *(path for path in data.rglob("*") if path.is_file())]


def _handed_on(task: Task) -> list[Path]:
    """What a report on the whole study reads: what every report of a site-season handed on."""
    if not task.target.is_across:
        return []
    found = task.folder.parent.glob("*/*/*")
    return [path for path in found if path.name in HANDED_ON]


def _placed(task: Task, place: Callable[[Path], Path]) -> Task:
    return replace(
        task, template=place(task.template), study=place(task.study), folder=place(task.folder)
    )
