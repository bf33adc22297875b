"""A forked kernel is like one started cold, except that it starts at once."""

import asyncio
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.batch.kernels_for_tests import Session, in_kernel
from tests.batch.waiting import comes_true
from trialkit.batch import warm_server

pytestmark = pytest.mark.skipif(not warm_server.available(), reason="processes cannot fork here")
PATIENCE = 20.0  # seconds


def gone(pid: int) -> bool:
    """True when a process has ended; a busy machine may need a moment for it."""

    def ended() -> bool:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        return False

    return comes_true(ended, PATIENCE)


def open_files() -> int:
    """Number of descriptors that this process holds; 0 where the system does not tell."""
    folder = Path("/proc/self/fd")
    return len(list(folder.iterdir())) if folder.is_dir() else 0


def test_it_is_forked_with_everything_imported_and_leads_its_own_session(tmp_path: Path) -> None:
    code = "import os, sys; print('seaborn' in sys.modules, os.getsid(0) == os.getpid())"
    assert in_kernel(tmp_path, lambda s: s.answer(code)) == "True True"


def test_folder_and_environment_are_those_asked_for(tmp_path: Path) -> None:
    code = "import os; print(os.getcwd(), os.environ.get('GREETING'), os.environ.get('PYTHONPATH'))"
    environment = {**os.environ, "GREETING": "hello"}
    environment.pop("PYTHONPATH", None)
    answer = in_kernel(tmp_path, lambda s: s.answer(code), env=environment)
    assert answer == f"{tmp_path} hello None"


def test_two_kernels_share_no_random_numbers(tmp_path: Path) -> None:
    code = "import random, numpy; print(random.random(), numpy.random.rand())"
    first, second = (in_kernel(tmp_path, lambda s: s.answer(code)) for _ in range(2))
    assert not set(first.split()) & set(second.split())


def test_tables_are_as_wide_and_pictures_drawn_as_in_a_cold_kernel(tmp_path: Path) -> None:
    code = (
        "import pandas, matplotlib; print(pandas.get_option('display.max_columns'), "
        "matplotlib.rcParams['backend'].rpartition('.')[2])"
    )
    warm = in_kernel(tmp_path, lambda s: s.answer(code))
    assert warm == "20 backend_inline" or warm == "20 inline"


def test_an_interrupt_stops_the_cell_and_not_the_kernel(tmp_path: Path) -> None:
    async def steps(session: Session) -> tuple[str, str]:
        slow = asyncio.create_task(session.answer("import time; time.sleep(30)"))
        await asyncio.sleep(0.3)
        await session.manager.interrupt_kernel()
        return await slow, await session.answer("print('still here')")

    assert in_kernel(tmp_path, steps) == ("KeyboardInterrupt", "still here")


@pytest.mark.parametrize(
    ("code", "status"),
    [
        ("import os; os._exit(7)", 7),
        ("import os, signal; os.kill(os.getpid(), signal.SIGSEGV)", -signal.SIGSEGV),
    ],
)
def test_a_crash_is_told_with_its_status(tmp_path: Path, code: str, status: int) -> None:
    async def steps(session: Session) -> int | None:
        session.client.execute(code)
        return await asyncio.wait_for(session.manager.provisioner.wait(), 20)

    assert in_kernel(tmp_path, steps) == status


def test_a_kernel_that_ignores_the_request_to_end_is_killed(tmp_path: Path) -> None:
    code = "import os, signal; signal.signal(signal.SIGTERM, signal.SIG_IGN); print(os.getpid())"

    async def steps(session: Session) -> int:
        pid = int(await session.answer(code))
        await session.manager.shutdown_kernel(now=True)
        return pid

    assert gone(in_kernel(tmp_path, steps))


@pytest.mark.parametrize("now", [True, False])
def test_what_the_kernel_started_ends_with_it(tmp_path: Path, now: bool) -> None:
    code = "import subprocess; child = subprocess.Popen(['sleep', '60']); print(child.pid)"

    async def steps(session: Session) -> int:
        pid = int(await session.answer(code))
        await session.manager.shutdown_kernel(now=now)
        return pid

    assert gone(in_kernel(tmp_path, steps))


def test_exit_functions_run_at_a_regular_end(tmp_path: Path) -> None:
    code = "import atexit, pathlib; atexit.register(pathlib.Path('bye').write_text, 'bye')"
    in_kernel(tmp_path, lambda s: s.answer(code))
    assert (tmp_path / "bye").read_text() == "bye"


def test_a_restarted_kernel_is_fresh(tmp_path: Path) -> None:
    async def steps(session: Session) -> str:
        await session.answer("x = 1")
        await session.manager.restart_kernel()
        session.client.wait_for_ready(timeout=30)
        return await session.answer("print('x' in globals())")

    assert in_kernel(tmp_path, steps) == "False"


def test_pools_work_inside_a_kernel(tmp_path: Path) -> None:
    code = (
        "import multiprocessing\n"
        "for way in ('fork', 'forkserver', 'spawn'):\n"
        "    with multiprocessing.get_context(way).Pool(2) as pool:\n"
        "        print(pool.map(abs, [-1, -2]))"
    )
    answer = in_kernel(tmp_path, lambda s: s.answer(code))
    assert answer.splitlines().count("[1, 2]") == 3


def test_nothing_is_left_behind(tmp_path: Path) -> None:
    async def steps(session: Session) -> str:
        return session.manager.private

    in_kernel(tmp_path, steps)  # what is kept for all kernels to come is opened with the first
    before = open_files()
    folders = [in_kernel(tmp_path, steps) for _ in range(3)]
    assert not any(Path(folder).exists() for folder in folders)
    assert comes_true(lambda: open_files() <= before, PATIENCE)  # a thread closes sockets


def test_another_server_starts_where_the_old_one_was_killed(tmp_path: Path) -> None:
    in_kernel(tmp_path, lambda s: s.answer("1"))
    server = warm_server.KERNELS
    os.kill(server._forkserver_pid, signal.SIGKILL)
    assert in_kernel(tmp_path, lambda s: s.answer("print(6 * 7)")) == "42"


def test_where_nothing_can_fork_a_kernel_starts_the_plain_way(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setattr(warm_server, "available", lambda: False)
    code = "import sys; print('seaborn' in sys.modules)"
    assert in_kernel(tmp_path, lambda s: s.answer(code)) == "False"


def test_a_server_whose_starter_has_ended_ends_before_it_has_loaded_anything() -> None:
    code = "import trialkit.batch.preload_kernels; print('loaded')"
    environment = {**os.environ, warm_server.PARENT: "0"}  # nobody's process
    ended = subprocess.run(
        [sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=120
    )
    assert ended.returncode == 1
    assert "loaded" not in ended.stdout
