"""One report from template to finished files; the piece of work that a worker is given."""

import json
import os
import re
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from trialkit.batch.execute import CellFault, Run, execute
from trialkit.batch.files import (
    disk_faults_in_words,
    staging_beside,
    sync_folder,
    write_synced,
    write_whole,
)
from trialkit.batch.record import (
    FAILED_NOTEBOOK,
    FAILURE,
    FINDINGS,
    NOTEBOOK,
    PAGE,
    RECORD,
    Failure,
    Record,
    description_of,
    verdicts_in,
)
from trialkit.batch.targets import Target
from trialkit.batch.templates import read_template
from trialkit.batch.word_records import before_record, effects_record, words_record
from trialkit.batch.words import FACTS, TRIES, Keeper, Places, facts_at, kept
from trialkit.errors import TrialkitError
from trialkit.narrative.weave import Woven
from trialkit.publish import PageFacts

PLACED = re.compile(r"[^\s:]+:\d*:")
OWN_FAULTS = ("TrialkitError", "StudyError", "DataError", "AnalysisError")


@dataclass(frozen=True)
class Task:
    """Everything that a worker needs to make one report."""

    target: Target
    template: Path
    study: Path
    folder: Path
    facts: PageFacts
    inputs: Mapping[str, str]
    versions: Mapping[str, str]
    seed: int
    timeout: float


@dataclass(frozen=True)
class Outcome:
    """What became of one report; ``faults`` says what to mend when it failed."""

    target: Target
    faults: tuple[str, ...] = ()
    seconds: float = 0.0
    cells: tuple[Mapping[str, Any], ...] = ()
    verdicts: tuple[Mapping[str, str], ...] = field(default=())

    @property
    def failed(self) -> bool:
        """True when the report could not be rendered."""
        return bool(self.faults)


def make_report(task: Task) -> Outcome:
    """Run the notebook, make the page, put all files in place; a fault is told, never raised."""
    started = time.perf_counter()
    try:
        with disk_faults_in_words(task.folder), staging_beside(task.folder) as staging:
            return finish_report(task, run_notebook(task, staging), staging, started)
    except TrialkitError as error:
        return told(task, tuple(str(error).splitlines()), time.perf_counter() - started)


def run_notebook(task: Task, staging: Path) -> Run:
    """Run the notebook of a report; the files that its cells write appear in ``staging``."""
    return execute(read_template(task.template), _parameters(task, staging), staging, task.timeout)


def finish_report(task: Task, run: Run, staging: Path, started: float) -> Outcome:
    """Weave people's words into a notebook that was run, make its page, put all in place.

    This happens where people write, on whatever machine the notebook ran; ``started`` is a time of
    this machine's performance counter.
    """
    if run.fault:
        return _keep_failed(task, run, time.perf_counter() - started)
    return _put_in_place(task, run, staging, started)


def _parameters(task: Task, staging: Path) -> dict[str, Any]:
    """Parameters of the notebook; the study is named from the report's own folder.

    The staging folder is a sibling of the report's, so that the same text holds in both.
    """
    parameters: dict[str, Any] = {"study": relative_study(task.study, staging)}
    if task.target.is_across:
        parameters |= {"reports": ".."}
    else:
        parameters |= {"season": task.target.season, "site": task.target.site}
    return {**parameters, "output": "."}


def relative_study(study: Path, folder: Path) -> str:
    """Return the path of the study as seen from a report's folder."""
    try:
        return Path(os.path.relpath(study.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return study.resolve().as_posix()


def _put_in_place(task: Task, run: Run, staging: Path, started: float) -> Outcome:
    with kept(Places(task.study, task.target.key, task.folder)) as keeper:
        woven = _written_pages(task, run, staging, keeper)
        inputs = {**task.inputs, **keeper.write(woven)}
        record = _record(task, run, staging, woven, inputs=inputs, started=started)
        write_synced(staging / RECORD, record.to_bytes())
        move_in(staging, task.folder)
        keeper.settle(woven)
    return Outcome(task.target, (), record.seconds, run.cells, tuple(record.verdicts))


def _written_pages(task: Task, run: Run, staging: Path, keeper: Keeper) -> Woven:
    """Write notebook and page with the words of people in them, as they stand at this moment."""
    from trialkit.publish.page import report_page

    for _ in range(TRIES):
        woven = keeper.woven(run.notebook, staging / FACTS)
        write_synced(staging / NOTEBOOK, notebook_bytes(woven.notebook))
        write_synced(staging / PAGE, report_page(woven.page, task.facts).encode())
        if not keeper.overtaken:
            return woven
    raise TrialkitError(
        f"{task.folder.as_posix()}/{NOTEBOOK}::: it is saved again and again while the report is "
        "made. Wait with editing until the render is done, and render again."
    )


def _record(
    task: Task,
    run: Run,
    staging: Path,
    woven: Woven,
    *,
    inputs: Mapping[str, str],
    started: float,
) -> Record:
    return Record(
        parameters={**_parameters(task, staging), "output": ""},
        seed=task.seed,
        inputs=inputs,
        outputs={path.name: description_of(path) for path in sorted(staging.iterdir())},
        verdicts=verdicts_in(staging / FINDINGS),
        rendered=_now(),
        seconds=round(time.perf_counter() - started, 3),
        cells=run.cells,
        versions=task.versions,
        words=words_record(woven),
        effects=effects_record(facts_at(staging / FACTS)),
        before=before_record(task.folder),
    )


def move_in(staging: Path, folder: Path) -> None:
    """Move finished files into place, the record last: it alone says that all is there."""
    folder.mkdir(parents=True, exist_ok=True)
    for path in sorted(staging.iterdir(), key=lambda path: path.name == RECORD):
        os.replace(path, folder / path.name)
    for name in (FAILURE, FAILED_NOTEBOOK):
        (folder / name).unlink(missing_ok=True)
    sync_folder(folder)


def _keep_failed(task: Task, run: Run, seconds: float) -> Outcome:
    """Keep the notebook as far as it ran, for JupyterLab; the report of before stays as it is."""
    assert run.fault is not None
    faults = fault_lines(run.fault, task)
    keep_failure(task, faults, notebook_bytes(run.notebook))
    return Outcome(task.target, faults, seconds, run.cells)


def told(task: Task, faults: tuple[str, ...], seconds: float) -> Outcome:
    """Say why a report could not be made, and leave a note of it."""
    keep_failure(task, faults)
    return Outcome(task.target, faults, seconds)


def keep_failure(task: Task, faults: tuple[str, ...], notebook: bytes | None = None) -> None:
    """Leave a note of the faults, and the notebook as far as it ran, beside what is there."""
    # Where the folder itself is at fault, the outcome alone carries the words to the person.
    with suppress(OSError):
        if notebook is not None:
            write_whole(task.folder / FAILED_NOTEBOOK, notebook)
        write_whole(task.folder / FAILURE, Failure(faults, _now()).to_bytes())


def fault_lines(fault: CellFault, task: Task) -> tuple[str, ...]:
    """Say what went wrong, where, and which file to look at, one line a fault."""
    place = f"data/{task.target.key}" if not task.target.is_across else "study.toml"
    if fault.name in OWN_FAULTS:
        lines = (line for line in fault.text.splitlines() if line.strip())
        return tuple(_from_study_folder(line, place, task) for line in lines)
    first = next((line for line in fault.source.splitlines() if line.strip()), "")
    reason = fault.text.strip().splitlines()[0] if fault.text.strip() else "no more is known"
    return (
        f"{place}::: cell {fault.cell} ({first.strip()}) stopped with {fault.name}: {reason}. "
        f"Open {FAILED_NOTEBOOK} beside the report in JupyterLab to see where.",
    )


def _from_study_folder(line: str, place: str, task: Task) -> str:
    """Name the file as seen from the study folder; a fault without a file gets ``place``."""
    within = line.removeprefix(f"{relative_study(task.study, task.folder)}/")
    return within if PLACED.match(within) else f"{place}::: {within}"


def notebook_bytes(notebook: Any) -> bytes:
    """Return a notebook as it stands in its file: sorted keys, nothing that varies."""
    text = json.dumps(notebook, indent=1, sort_keys=True, ensure_ascii=False)
    return (text + "\n").encode()


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
