"""A kernel forked from the warm server: what runs in the child, and its handle in the manager."""

import atexit
import gc
import os
import random
import select
import signal
import sys
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from multiprocessing import forkserver

from trialkit.batch import warm_server

LAST_WORD = 1.0  # seconds that a kernel's control channel has to finish
GONE = 255  # exit status of a kernel whose server vanished with it


@dataclass(frozen=True)
class ForkedKernel:
    """What the child must know to become a kernel like one that was started by its command."""

    arguments: tuple[str, ...]
    environment: Mapping[str, str]
    folder: str

    def _bootstrap(self, parent_sentinel: int | None = None) -> int:
        """Run the kernel in the forked child; called by the standard library's forkserver."""
        signal.signal(signal.SIGINT, signal.default_int_handler)
        os.setsid()  # an interrupt reaches this kernel and what it started, nobody else
        warm_server.release_in_child()
        if parent_sentinel is not None:
            _end_with(parent_sentinel)
        self._take_place()
        _forget_what_was_cloned()
        try:
            return _run_kernel(list(self.arguments))
        finally:
            _let_control_end()
            _run_exit_functions()

    def _take_place(self) -> None:
        os.environ.clear()
        os.environ.update(self.environment)
        if hasattr(time, "tzset"):
            time.tzset()
        os.chdir(self.folder)
        sys.argv = ["ipykernel_launcher.py", *self.arguments]


def _end_with(sentinel: int) -> None:
    """End this kernel and all that it started when its manager ends, however that happens."""

    def watch() -> None:
        os.read(sentinel, 1)
        os.killpg(0, signal.SIGKILL)

    threading.Thread(target=watch, name="manager-watch", daemon=True).start()


def _forget_what_was_cloned() -> None:
    """Draw new random states, which all forks share otherwise; take the figure backend asked."""
    random.seed()
    if "numpy" in sys.modules:
        sys.modules["numpy"].random.seed()
    backend = os.environ.setdefault("MPLBACKEND", "module://matplotlib_inline.backend_inline")
    if "matplotlib" in sys.modules:
        sys.modules["matplotlib"].rcParams["backend"] = backend


def _run_kernel(arguments: list[str]) -> int:
    from trialkit.batch.kernel_app import BatchKernelApp

    try:
        # Handle 1 means: somebody else watches over this kernel's parent (see _end_with).
        BatchKernelApp.launch_instance([*arguments, "--IPKernelApp.parent_handle=1"])
    except SystemExit as end:
        if end.code is None or isinstance(end.code, int):
            return end.code or 0
        print(end.code, file=sys.stderr)
        return 1
    return 0


def _let_control_end() -> None:
    """Wait for the thread that was asked to end the kernel: it has a last word to publish.

    ipykernel closes the publishing channel first, for whose answer that thread may then wait in
    vain until the kernel is killed.
    """
    from ipykernel.kernelapp import IPKernelApp

    control = IPKernelApp.instance().control_thread if IPKernelApp.initialized() else None
    if control is not None and control.is_alive():
        control.stop()
        control.join(LAST_WORD)


def _run_exit_functions() -> None:
    """The forkserver ends its children by os._exit, which runs none of these."""
    from multiprocessing import util

    # IPython looks for what is out of use before it ends; nothing of a process that ends need be.
    gc.freeze()
    util._exit_function()  # type: ignore[attr-defined]
    threading._shutdown()  # type: ignore[attr-defined]
    atexit._run_exitfuncs()
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.flush()


class KernelHandle:
    """A forked kernel as its manager sees it; has the methods of subprocess.Popen that are used."""

    stdin = stdout = stderr = None

    def __init__(self, kernel: ForkedKernel) -> None:
        self.pid, self._status, self._alive = warm_server.fork(kernel)
        self.returncode: int | None = None

    def poll(self) -> int | None:
        """Return the exit status (negative: the signal that ended it), or None while it runs."""
        if self.returncode is None and select.select([self._status], [], [], 0)[0]:
            self._reap()
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Wait for the end; raises TimeoutError after ``timeout`` seconds."""
        if self.returncode is None:
            if not select.select([self._status], [], [], timeout)[0]:
                raise TimeoutError(f"kernel {self.pid} still runs after {timeout} s")
            self._reap()
        assert self.returncode is not None
        return self.returncode

    def send_signal(self, signum: int) -> None:
        """Send a signal to the kernel unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, signum)

    def terminate(self) -> None:
        """Ask the kernel to end."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """End the kernel."""
        self.send_signal(signal.SIGKILL)

    def _reap(self) -> None:
        try:
            self.returncode = forkserver.read_signed(self._status)
        except EOFError:  # the server was killed; the kernel, without its sentinel, ends too
            self.returncode = GONE
        os.close(self._status)
        os.close(self._alive)
