"""The kernel of a batch: ipykernel's own, without what only serves a debugger or a person."""

import atexit
import os
import re
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from types import FrameType, ModuleType
from typing import Any, ClassVar

from ipykernel import ipkernel, kernelapp
from ipykernel.compiler import XCachingCompiler
from ipykernel.iostream import IOPubThread, OutStream
from ipykernel.ipkernel import IPythonKernel
from ipykernel.kernelapp import IPKernelApp
from ipykernel.zmqshell import ZMQInteractiveShell
from IPython.core.profiledir import ProfileDir
from traitlets import default
from traitlets.config import Config
from traitlets.config.loader import DeferredConfigString

_OPTION = re.compile(r"--(\w+)\.(\w+)=(.*)")


def make_shell_ready() -> None:
    """Create, once before anything is forked, the shell in which the cells of each kernel run.

    It keeps no history, and no profile of a person.
    """
    shell = ZMQInteractiveShell.instance(
        config=Config({"HistoryManager": {"enabled": False}}),
        profile_dir=ProfileDir(),
        compiler_class=XCachingCompiler,
    )
    shell._sys_modules_keys = set(sys.modules)
    # It ends with its kernel, not with the process that made it.
    atexit.unregister(shell.atexit_operations)


class BatchKernelApp(IPKernelApp):
    """A kernel that starts with less and answers sooner; what cells see is the same.

    Nothing personal reaches a report: neither the configuration nor the start-up files of whoever
    renders it are read.
    """

    @default("kernel_class")
    def _kernel_without_search(self) -> str:
        return f"{__name__}.{BatchKernel.__name__}"

    @default("outstream_class")
    def _quick_streams(self) -> str:
        return f"{__name__}.{QuickStream.__name__}"

    def parse_command_line(self, argv: list[str] | None = None) -> None:
        """Take the few options that a batch gives; the parser of all takes a quarter of the start.

        Others are left to that parser.
        """
        config = config_of(argv or ())
        if config is None:
            super().parse_command_line(argv)
        else:
            self.update_config(config)
            # Of what is logged only this much is written; the rest need not be put in words.
            self.log.setLevel(self.log_level)

    def init_profile_dir(self) -> None:
        """Make no folder for a person's settings: the shell's profile has no place on the disk."""
        self.profile_dir = ZMQInteractiveShell.instance().profile_dir

    def load_config_file(self, *_: Any, **__: Any) -> None:
        """Read no file of a person."""

    def init_iopub(self, context: Any) -> None:
        """Create the channel on which cells publish what they show."""
        with _in_place_of(kernelapp, IOPubThread=QuickPublisher):
            super().init_iopub(context)

    def init_heartbeat(self) -> None:
        """Start no heart that nobody listens to: the kernel's end is seen by its parent."""

    def init_control(self, context: Any) -> None:
        """Create the control channel, which interrupts and ends the kernel.

        The thread that would share a kernel among several shells is left out: a batch has one, and
        each of its messages would go from thread to thread twice.
        """
        super().init_control(context)
        self.shell_channel_thread = None

    def init_kernel(self) -> None:
        """Create the kernel around the shell that is ready.

        For its debugger the kernel would list the files of all modules. That touches every module
        that the warm server has loaded, and a fork copies the memory that it touches: half of what
        the start of a kernel took.
        """
        shell = ZMQInteractiveShell.instance()
        self.user_ns = shell.user_ns
        with _in_place_of(ipkernel, sys=_SystemWithoutModules("sys")):
            super().init_kernel()
        shell.kernel = self.kernel
        shell.init_environment()
        shell.save_sys_module_state()
        atexit.register(shell.atexit_operations)
        # ipykernel waits a moment before each reply, for readers that might take the reply for
        # the end of a cell's output; those of a batch wait for the end itself.
        self.kernel._execute_sleep = 0.0

    def init_extensions(self) -> None:
        """Load none: IPython's own keeps a person's variables from one day to the next."""

    def init_code(self) -> None:
        """Run no start-up file; what the shell itself defines does not count as a cell's."""
        shell = ZMQInteractiveShell.instance()
        shell.user_ns_hidden.update(shell.user_ns)


class BatchKernel(IPythonKernel):
    """The kernel itself, which looks for processes to end only where it started some."""

    def _process_children(self) -> list[Any]:
        """Find what cells started and left running: psutil looks at all processes there are."""
        try:
            os.waitid(os.P_ALL, 0, os.WEXITED | os.WNOHANG | os.WNOWAIT)
        except ChildProcessError:
            return []
        return super()._process_children()


def config_of(arguments: Sequence[str]) -> Config | None:
    """The configuration that plain options ask for; None where one is of another kind."""
    config, left = Config(), list(arguments)
    while left:
        option = left.pop(0)
        if option == "-f" and left:
            config.IPKernelApp.connection_file = left.pop(0)
        elif found := _OPTION.fullmatch(option):
            config[found[1]][found[2]] = DeferredConfigString(found[3])
        else:
            return None
    return config


class QuickPublisher(IOPubThread):
    """Publishes in the thread that has something to say, one message at a time.

    ipykernel's own hands each message to its thread, and a cell competes with that one for the
    interpreter. Here the thread serves only what children of a cell print, and text that nobody
    flushes.
    """

    def __init__(self, *arguments: Any, **options: Any) -> None:
        self._turn = threading.RLock()
        super().__init__(*arguments, **options)

    def _setup_xpub_listener(self) -> None:
        """Leave the socket to those who publish; no client of a batch waits for a welcome."""

    def schedule(self, f: Callable[[], Any]) -> None:
        """Do it at once, in one piece."""
        if self._is_master_process():
            with self._turn, _interrupted_only_after():
                f()
        else:  # in a child that a cell forked, whoever had the lock is not there
            f()


class QuickStream(OutStream):
    """Standard output of the cells; sends only when there is something to send.

    A kernel flushes both streams some eighty times a report, mostly for nothing.
    """

    def flush(self) -> None:
        """Send what was written since the last time."""
        if self._buffers:
            self._flush_in_turn()

    def _schedule_flush(self) -> None:
        """Send what was written in a moment, unless somebody flushes it before."""
        if not self._flush_pending:
            self._flush_pending = True
            loop = self._io_loop
            loop.add_callback(lambda: loop.call_later(self.flush_interval, self._flush_in_turn))

    def _flush_in_turn(self) -> None:
        """Send the text before whatever is published after it."""
        if self.pub_thread is not None:
            self.pub_thread.schedule(self._flush)


@contextmanager
def _interrupted_only_after() -> Iterator[None]:
    """Let an interrupt wait: one that breaks off a message spoils the one after, too."""
    if threading.current_thread() is not threading.main_thread():
        yield  # only the main thread is interrupted
        return
    held: list[tuple[int, FrameType | None]] = []
    before = signal.signal(signal.SIGINT, lambda *told: held.append(told))
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
    if held and callable(before):
        before(*held[0])


class _SystemWithoutModules(ModuleType):
    """Python's sys as ipykernel sees it while its kernel is made."""

    modules: ClassVar[dict[str, ModuleType]] = {}

    def __getattr__(self, name: str) -> Any:
        return getattr(sys, name)


@contextmanager
def _in_place_of(module: ModuleType, **names: Any) -> Iterator[None]:
    """Let a module find something else under a name of its own."""
    before = {name: getattr(module, name) for name in names}
    vars(module).update(names)
    try:
        yield
    finally:
        vars(module).update(before)
