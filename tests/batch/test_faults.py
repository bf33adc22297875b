"""Whatever happens to a render, the reports of before stand and the next render ends well."""

import errno
import os
import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from tests.batch.waiting import comes_true
from trialkit.batch import Request, files, render, run, work
from trialkit.batch.lock import study_lock
from trialkit.errors import TrialkitError

ROOT = Path(__file__).resolve().parents[2]
# Whoever runs the tests in the background of a shell has them started deaf to Ctrl-C.
DRIVER = """
import signal, sys
from pathlib import Path
from trialkit.batch import Request, render
if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.default_int_handler)
    study, out, notebooks = map(Path, sys.argv[1:])
    print("begun", flush=True)
    render(Request(study, out, notebooks=notebooks, workers=2, force=True))
"""


@pytest.fixture
def request_(study_folder: Path, notebooks: Path, tmp_path: Path) -> Request:
    return Request(study_folder, tmp_path / "reports", notebooks=notebooks, workers=1)


@pytest.fixture
def task(request_: Request) -> work.Task:
    """The task of one report, to be run in this very process."""
    study = run.read_study(request_.study)
    return run.task_of(run.survey_site_seasons(study, request_)[0], study, request_)


@pytest.fixture
def driver(tmp_path: Path) -> Path:
    path = tmp_path / "driver.py"
    path.write_text(DRIVER)
    return path


def started(driver: Path, request: Request) -> subprocess.Popen:
    """Start a render in a process of its own, in a session of its own."""
    command = [sys.executable, driver, request.study, request.out, request.notebooks]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        list(map(str, command)), env=environment, stdout=subprocess.PIPE, start_new_session=True
    )


def processes_of(word: str) -> list[str]:
    """Command lines and folders of running processes that mention ``word``."""
    found = []
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            told = (entry / "cmdline").read_bytes().decode(errors="replace")
            told += str((entry / "cwd").readlink())
        except OSError:  # it has just ended
            continue
        if word in told and int(entry.name) != os.getpid():
            found.append(told)
    return found


def none_left(word: str, seconds: float = 5.0) -> bool:
    return comes_true(lambda: not processes_of(word), seconds)


def findings(out: Path) -> dict[str, bytes]:
    return {str(path.relative_to(out)): path.read_bytes() for path in out.rglob("findings.csv")}


def test_a_second_render_is_told_who_holds_the_lock(request_: Request) -> None:
    reports = request_.out / "eggplant_flea_beetle"
    reports.mkdir(parents=True)
    with study_lock(reports), pytest.raises(TrialkitError) as told:
        render(request_)
    assert f"process {os.getpid()}" in str(told.value)
    assert "Wait until it is done" in str(told.value)
    with study_lock(reports):
        pass


def test_a_lock_left_by_a_killed_render_holds_nobody_up(request_: Request) -> None:
    reports = request_.out / "eggplant_flea_beetle"
    reports.mkdir(parents=True)
    (reports / ".lock").write_text('{"who": "somebody", "host": "x", "process": 1, "since": "y"}')
    with study_lock(reports):
        pass


def test_a_full_disk_is_told_and_leaves_the_old_report(task: work.Task, monkeypatch) -> None:
    assert not work.make_report(task).failed
    before = (task.folder / "report.html").read_bytes()

    def full(path: Path, content: bytes) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(path))

    monkeypatch.setattr(work, "write_synced", full)
    (fault,) = work.make_report(task).faults
    assert "cannot be written (no space left on device)" in fault
    assert "Make room" in fault
    assert (task.folder / "report.html").read_bytes() == before
    assert not list(task.folder.parent.glob(".unfinished-*"))


def test_a_place_that_cannot_be_written_is_told(request_: Request) -> None:
    request_.out.mkdir()
    (request_.out / "eggplant_flea_beetle").write_text("a file where the folder should be")
    with pytest.raises(TrialkitError, match="cannot be written"):
        render(request_)


def test_a_report_held_open_elsewhere_is_told(task: work.Task, monkeypatch) -> None:
    assert not work.make_report(task).failed
    before = (task.folder / "report.html").read_bytes()

    def held(source: Path, target: Path) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(target))

    monkeypatch.setattr(work.os, "replace", held)
    (fault,) = work.make_report(task).faults
    assert "close the file if another program holds it" in fault
    assert (task.folder / "report.html").read_bytes() == before


def test_a_write_that_is_cut_short_leaves_the_file_of_before(tmp_path: Path, monkeypatch) -> None:
    path = tmp_path / "page.html"
    files.write_whole(path, b"old")
    monkeypatch.setattr(files.os, "fsync", lambda handle: (_ for _ in ()).throw(OSError("gone")))
    with pytest.raises(OSError, match="gone"):
        files.write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["page.html"]


def test_a_figure_without_alternative_text_fails_its_report_alone(
    task: work.Task, monkeypatch
) -> None:
    def missing(notebook: object, facts: object) -> str:
        raise TrialkitError("A figure has no alternative text.")

    monkeypatch.setattr("trialkit.publish.page.report_page", missing)
    outcome = work.make_report(task)
    assert outcome.faults == ("A figure has no alternative text.",)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_ctrl_c_stops_at_once_and_leaves_no_process(
    driver: Path, request_: Request, study_folder: Path
) -> None:
    for plots in study_folder.rglob("plots.csv"):
        plots.write_text("hang\n")
    process = started(driver, request_)
    staging = request_.out / "eggplant_flea_beetle" / "2024"
    deadline = time.monotonic() + 60
    while len(list(staging.glob(".unfinished-*"))) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    time.sleep(1.0)
    begun = time.monotonic()
    os.killpg(process.pid, signal.SIGINT)
    process.communicate(timeout=30)
    assert time.monotonic() - begun < 2
    assert none_left(str(request_.out), 2.0)
    assert not list(staging.glob(".unfinished-*"))


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks for processes in /proc")
def test_killed_at_any_moment_the_next_render_ends_as_if_nothing_had_been(
    driver: Path, request_: Request
) -> None:
    undisturbed = replace(request_, out=request_.out.with_name("undisturbed"))
    assert not render(undisturbed).failed
    chance = random.Random(20240501)
    for _ in range(3):
        process = started(driver, request_)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(chance.uniform(0.5, 6.0))
        process.kill()
        process.communicate()
        assert none_left(str(request_.out)), "a kernel or worker outlived its render"
        pages = list(request_.out.rglob("report.html"))
        assert all(page.read_bytes().endswith(b"</html>\n") for page in pages)
    assert not render(request_).failed
    assert findings(request_.out) == findings(undisturbed.out)
    assert not list(request_.out.rglob(".unfinished-*"))
