"""The preloaded servers that kernels and workers are forked from (standard library's forkserver).

Whoever starts them pays for the heavy imports once; a fork starts in a few hundredths of a second.
There are two, which load side by side: kernels hold what analyses and draws, workers what runs
notebooks and makes pages. Where processes cannot fork, :func:`available` says so and kernels start
the plain way.
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

KERNELS: Any = forkserver.ForkServer()
WORKERS: Any = forkserver._forkserver  # the one that multiprocessing itself knows
LOADED = {KERNELS: "trialkit.batch.preload_kernels", WORKERS: "trialkit.batch.preload_workers"}
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


def start(server: Any = KERNELS) -> None:
    """Start a server unless it runs; returns at once, the imports go on in it."""
    server.set_forkserver_preload([LOADED[server]])
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
        server.ensure_running()


def stop() -> None:
    """End the servers at once, whatever they are doing; the next start is a new one."""
    for server in LOADED:
        if server._forkserver_pid is not None:
            with suppress(ProcessLookupError):
                os.kill(server._forkserver_pid, signal.SIGKILL)


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
    """Start both servers; return what another process needs to :func:`adopt` that of kernels."""
    for server in LOADED:
        start(server)
    return {name: vars(KERNELS)[name] for name in _ADDRESS if name in vars(KERNELS)}


def adopt(where: Mapping[str, Any]) -> None:
    """Use the server of kernels at ``where``; only a process forked from that of workers can.

    The standard library hands a server on to children that multiprocessing starts, but not to
    their own code, and knows of one only; the attributes set here are all that is missing.
    """
    vars(KERNELS).update(where)
    # A fork is given a hold on its server; the one at hand will do, since kernels let go of it.
    KERNELS._forkserver_alive_fd = WORKERS._forkserver_alive_fd
    KERNELS.ensure_running = _is_running_elsewhere


def fork(work: Any) -> tuple[int, int, int]:
    """Fork a child of the kernels' server that calls ``work._bootstrap(sentinel)``.

    Returns its process id, a descriptor that gives its exit status and one that keeps it alive:
    the child ends when that is closed. Raises OSError or EOFError when the server is gone.
    """
    if KERNELS.ensure_running is not _is_running_elsewhere:
        start()
    status, alive = KERNELS.connect_to_new_process([])
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
    """Close what a forked child holds of a server, so that an orphan does not keep it alive."""
    held = vars(WORKERS).pop("_forkserver_alive_fd", None)
    if held is not None:
        os.close(held)
    # What the child forks in turn (pools of a notebook) comes from a server of its own.
    WORKERS.__init__()


def _is_running_elsewhere() -> None:
    """Stand in for starting a server: the one adopted belongs to another process."""


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
