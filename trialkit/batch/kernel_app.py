"""The kernel of a batch: ipykernel's own, without what only serves a debugger or a person."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any, ClassVar

from ipykernel import ipkernel
from ipykernel.iostream import OutStream
from ipykernel.kernelapp import IPKernelApp
from traitlets import default


class BatchKernelApp(IPKernelApp):
    """A kernel that starts with less and answers sooner; what cells see is the same."""

    @default("outstream_class")
    def _quick_streams(self) -> str:
        return f"{__name__}.{QuickStream.__name__}"

    def init_control(self, context: Any) -> None:
        """Create the control channel, which interrupts and ends the kernel.

        The thread that would share a kernel among several shells is left out: a batch has one, and
        each of its messages would go from thread to thread twice.
        """
        super().init_control(context)
        self.shell_channel_thread = None

    def init_kernel(self) -> None:
        """Create the kernel, and the shell in which the cells run.

        For its debugger the kernel would list the files of all modules. That touches every module
        that the warm server has loaded, and a fork copies the memory that it touches: half of what
        the start of a kernel took.
        """
        with _no_modules_to_list():
            super().init_kernel()
        # ipykernel waits a moment before each reply, for readers that might take the reply for
        # the end of a cell's output; those of a batch wait for the end itself.
        self.kernel._execute_sleep = 0.0


class QuickStream(OutStream):
    """Standard output of the cells; asks its thread to send only when there is something to send.

    A kernel flushes both streams some eighty times a report, and waits half a thousandth of a
    second each time.
    """

    _waiting = False

    def write(self, string: str) -> int | None:  # type: ignore[override]
        """Take text to be sent."""
        written = super().write(string)
        self._waiting = True
        return written

    def flush(self) -> None:
        """Send what was written since the last time."""
        if self._waiting:
            self._waiting = False
            super().flush()


class _SystemWithoutModules(ModuleType):
    """Python's sys as ipykernel sees it while its kernel is made."""

    modules: ClassVar[dict[str, ModuleType]] = {}

    def __getattr__(self, name: str) -> Any:
        return getattr(sys, name)


@contextmanager
def _no_modules_to_list() -> Iterator[None]:
    ipkernel.sys = _SystemWithoutModules("sys")
    try:
        yield
    finally:
        ipkernel.sys = sys
