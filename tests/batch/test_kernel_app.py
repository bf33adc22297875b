"""The kernel of a batch is ipykernel's, as far as its cells can tell."""

import os
from pathlib import Path

import pytest

from tests.batch.kernels_for_tests import Session, in_kernel
from trialkit.batch import kernel_app, warm_server

pytestmark = pytest.mark.skipif(not warm_server.available(), reason="processes cannot fork here")


def said(folder: Path, *cells: str) -> list[str]:
    """What each cell wrote, run one after the other in one kernel."""

    async def steps(session: Session) -> list[str]:
        return [await session.answer(cell) for cell in cells]

    return in_kernel(folder, steps)


def test_its_modules_are_all_there_although_no_debugger_was_told_of_them(tmp_path: Path) -> None:
    whole = "import sys, ipykernel.ipkernel as k; print(k.sys is sys, 'pandas' in sys.modules)"
    listed = "print(get_ipython().kernel._kernel_modules)"
    assert said(tmp_path, whole, listed) == ["True True", "[]"]


def test_processes_to_end_are_looked_for_only_where_cells_started_some(tmp_path: Path) -> None:
    look = "print(len(get_ipython().kernel._process_children()), 'psutil' in sys.modules)"
    start = "import subprocess, sys; child = subprocess.Popen(['sleep', '60'])"
    assert said(tmp_path, "import sys", look, start, look) == ["", "0 False", "", "1 True"]


def test_text_belongs_to_the_cell_that_wrote_it_and_keeps_its_order(tmp_path: Path) -> None:
    cells = ["print('a', end=''); print('b')", "pass", "import sys; print('c'); sys.stdout.flush()"]
    assert said(tmp_path, *cells) == ["ab", "", "c"]


def test_text_that_was_not_flushed_is_sent_at_the_end_of_the_cell(tmp_path: Path) -> None:
    assert said(tmp_path, "import sys; _ = sys.stdout.write('late')", "1;") == ["late", ""]


def test_text_of_another_program_arrives(tmp_path: Path) -> None:
    # It comes through a pipe with a reader of its own, which ipykernel leaves out under pytest.
    cell = "import os, time; os.system('echo from outside'); time.sleep(1)"
    environment = {k: v for k, v in os.environ.items() if k != "PYTEST_CURRENT_TEST"}
    heard = in_kernel(tmp_path, lambda session: session.answer(cell), env=environment)
    assert heard == "from outside"


def test_text_of_children_that_a_cell_forks_arrives(tmp_path: Path) -> None:
    cell = """
import os, sys, time
if child := os.fork():
    os.waitpid(child, 0); time.sleep(1)
else:
    print("of a child"); sys.stdout.flush(); os._exit(0)
"""
    assert said(tmp_path, cell) == ["of a child"]


def test_threads_that_write_at_the_same_time_are_heard_in_full(tmp_path: Path) -> None:
    cell = """
import sys, threading
def write(name):
    for _ in range(100):
        sys.stdout.write(name + "\\n"); sys.stdout.flush(); display(name)
threads = [threading.Thread(target=write, args=(name,)) for name in "abcd"]
[one.start() for one in threads]; [one.join() for one in threads]
"""
    assert sorted(said(tmp_path, cell)[0].split()) == sorted("abcd" * 100)


def test_an_interrupt_waits_until_what_is_being_published_is_out(tmp_path: Path) -> None:
    cell = """
import os, signal
publisher = get_ipython().kernel.iopub_thread
send = publisher._really_send
def interrupted(*message, **options):
    publisher._really_send = send
    os.kill(os.getpid(), signal.SIGINT)
    send(*message, **options)
publisher._really_send = interrupted
print("out", flush=True)
"""
    assert said(tmp_path, cell, "print('on')") == ["out\nKeyboardInterrupt", "on"]


def test_it_goes_on_after_an_error(tmp_path: Path) -> None:
    assert said(tmp_path, "1 / 0", "print('on')") == ["ZeroDivisionError", "on"]


@pytest.mark.parametrize("forks", [True, False])
def test_nothing_of_a_person_reaches_it_and_it_leaves_nothing_there(
    tmp_path: Path, monkeypatch, forks: bool
) -> None:
    monkeypatch.setattr(warm_server, "available", lambda: forks)
    home = tmp_path / "home"
    startup = home / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "mine.py").write_text("mine = 1")
    (home / "profile_default" / "ipython_config.py").write_text(
        "get_config().InteractiveShell.ast_node_interactivity = 'all'"
    )
    before = sorted(home.rglob("*"))
    cell = "print('mine' in globals(), get_ipython().ast_node_interactivity)"
    environment = {**os.environ, "IPYTHONDIR": str(home)}
    heard = in_kernel(tmp_path, lambda session: session.answer(cell), env=environment)
    assert heard == "False last_expr"
    assert sorted(home.rglob("*")) == before


def test_what_was_entered_before_can_be_asked_for_although_no_history_is_kept(
    tmp_path: Path,
) -> None:
    cells = ["a = 6 * 7", "a", "print(In[1], Out[2], get_ipython().history_manager.enabled)"]
    assert said(tmp_path, *cells)[-1] == "a = 6 * 7 42 False"


def test_a_reset_takes_away_what_cells_made_and_no_more(tmp_path: Path) -> None:
    cells = ["import string; a = 1", "%reset -f", "print('a' in globals(), callable(display))"]
    assert said(tmp_path, *cells)[-1] == "False True"


def test_each_cell_is_told_which_shell_and_kernel_it_runs_in(tmp_path: Path) -> None:
    cell = "s = get_ipython(); print(s.kernel.shell is s, s.user_ns is globals())"
    assert said(tmp_path, cell) == ["True True"]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["-f", "k.json"], {"IPKernelApp": {"connection_file": "k.json"}}),
        (["--A.b=c=d", "-f", "k"], {"A": {"b": "c=d"}, "IPKernelApp": {"connection_file": "k"}}),
        (["-f"], None),
        (["--debug"], None),
    ],
)
def test_plain_options_are_read_at_once_and_others_left_to_the_parser(arguments, told) -> None:
    config = kernel_app.config_of(arguments)
    assert (config and {name: dict(one) for name, one in config.items()}) == told
