"""The preloaded server that kernels and workers are forked from (standard library's forkserver).

Whoever starts it pays for the heavy imports once; a fork of it starts in a few hundredths of a
second. Where processes cannot fork, :func:`available` says so and kernels start the plain way.
"""

import os
import pickle
import signal
import sys
import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from multiprocessing import forkserver
from typing import Any

PRELOAD = "trialkit.batch.preload"
PARENT = "TRIALKIT_SERVER_PARENT"  # in the server's environment: who started it
# Libraries that start threads at import would make forking unsafe.
ONE_THREAD = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "JE_ARROW_MALLOC_CONF": "background_thread:false",
    "PYDEVD_DISABLE_FILE_VALIDATION": "1",
    "ARROW_DEFAULT_MEMORY_POOL": "system",
}
_STARTING = threading.Lock()
_ADDRESS = ("_forkserver_address", "_forkserver_authkey")


def available() -> bool:
    """Say whether processes can be forked from a server here."""
    return os.name == "posix" and hasattr(os, "fork") and sys.platform != "darwin"


def start() -> None:
    """Start the server of this process unless it runs; returns at once, the imports go on in it."""
    forkserver.set_forkserver_preload([PRELOAD])
    with (
        _STARTING,
        _environment(
            {
                **os.environ,
                **ONE_THREAD,
                "PYTHONPATH": os.pathsep.join(sys.path),
                PARENT: str(os.getpid()),
            }
        ),
        _without_ctrl_c(),
    ):
        forkserver.ensure_running()


def stop() -> None:
    """End the server of this process at once, whatever it is doing; the next start is a new one."""
    pid = vars(_server()).get("_forkserver_pid")
    if pid is not None:
        with suppress(ProcessLookupError):
            os.kill(pid, signal.SIGKILL)


@contextmanager
def _without_ctrl_c() -> Iterator[None]:
    """Let the server begin life deaf to Ctrl-C, which it otherwise is only after its imports."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def address() -> dict[str, Any]:
    """Return what another process needs to :func:`adopt` the server of this one."""
    start()
    return {name: vars(_server())[name] for name in _ADDRESS if name in vars(_server())}


def adopt(where: Mapping[str, Any]) -> None:
    """Use the server at ``where``; only a process that was itself forked from it can.

    The standard library hands the server on to children that multiprocessing starts, but not to
    their own code; the two attributes set here are all that is missing.
    """
    vars(_server()).update(where)
    _server().ensure_running = _is_running_elsewhere


def fork(work: Any) -> tuple[int, int, int]:
    """Fork a child that calls ``work._bootstrap(sentinel)``.

    Returns its process id, a descriptor that gives its exit status and one that keeps it alive:
    the child ends when that is closed. Raises OSError or EOFError when the server is gone.
    """
    if _server().ensure_running is not _is_running_elsewhere:
        start()
    status, alive = forkserver.connect_to_new_process([])
    try:
        with open(alive, "wb", closefd=False) as stream:
            pickle.dump({"sys_path": list(sys.path)}, stream)
            pickle.dump(work, stream)
        return forkserver.read_signed(status), status, alive
    except BaseException:
        os.close(status)
        os.close(alive)
        raise


def release_in_child() -> None:
    """Close what a forked child holds of the server, so that an orphan does not keep it alive."""
    server = _server()
    held = vars(server).pop("_forkserver_alive_fd", None)
    if held is not None:
        os.close(held)
    # What the child forks in turn (pools of a notebook) comes from a server of its own.
    server.__init__()


def _is_running_elsewhere() -> None:
    """Stand in for starting a server: the one adopted belongs to another process."""


def _server() -> Any:
    return forkserver._forkserver


@contextmanager
def _environment(values: Mapping[str, str]) -> Iterator[None]:
    """Set the environment that the server is started in, and put it back."""
    before = dict(os.environ)
    os.environ.update(values)
    try:
        yield
    finally:
        os.environ.clear()
        os.environ.update(before)
