"""A task with everything it reads, for workers that see no file of this machine.

The files travel with the task and the report's files travel back; they stand at the same places
relative to each other as here, so that a report is the same bytes wherever it was made.
"""

import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from trialkit.batch.files import disk_faults_in_words, staging_beside, write_synced
from trialkit.batch.record import FAILED_NOTEBOOK, FAILURE, FINDINGS, VALUES, read_record
from trialkit.batch.work import Outcome, Task, keep_failure, make_report, move_in

Files = Mapping[str, bytes]


@dataclass(frozen=True)
class Parcel:
    """A task whose paths are relative to a common folder, and the files that belong there."""

    task: Task
    files: Files


@dataclass(frozen=True)
class Delivery:
    """What came of a parcel: the outcome and the files of the report's folder."""

    outcome: Outcome
    files: Files


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
        task = _placed(parcel.task, lambda path: root / path)
        outcome = make_report(task)
        made = sorted(task.folder.iterdir()) if task.folder.is_dir() else []
        return Delivery(outcome, {path.name: path.read_bytes() for path in made})


def unpack(delivery: Delivery, task: Task) -> Outcome:
    """Put the files of a report that was made elsewhere in place here, whole or not at all."""
    if delivery.outcome.failed:
        if FAILED_NOTEBOOK in delivery.files:
            keep_failure(task, delivery.outcome.faults, delivery.files[FAILED_NOTEBOOK])
        return delivery.outcome
    with disk_faults_in_words(task.folder), staging_beside(task.folder) as staging:
        for name, content in delivery.files.items():
            if name != FAILURE:
                write_synced(staging / name, content)
        _keep_times(staging)
        move_in(staging, task.folder)
    return delivery.outcome


def _keep_times(folder: Path) -> None:
    """Give files the times that their record knows, so that a look at them need not read them."""
    record = read_record(folder)
    for name, about in (record.outputs if record else {}).items():
        os.utime(folder / name, ns=(about["changed"], about["changed"]))


def _study_files(task: Task) -> list[Path]:
    data = task.study / "data" / task.target.key
    beside = [path for path in task.study.iterdir() if path.is_file()]
    told = [path for path in (task.study / "narrative").rglob("*") if path.is_file()]
    return [*beside, *told, *(path for path in data.rglob("*") if path.is_file())]


def _handed_on(task: Task) -> list[Path]:
    """What the report across all reads: the findings and plot values of every other report."""
    if not task.target.is_across:
        return []
    found = task.folder.parent.glob("*/*/*.csv")
    return [path for path in found if path.name in (FINDINGS, VALUES)]


def _placed(task: Task, place: Callable[[Path], Path]) -> Task:
    return replace(
        task, template=place(task.template), study=place(task.study), folder=place(task.folder)
    )
