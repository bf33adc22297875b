"""The kernel of a batch: ipykernel's own, without what only serves a debugger."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import ModuleType
from typing import Any, ClassVar

from ipykernel import ipkernel
from ipykernel.kernelapp import IPKernelApp


class BatchKernelApp(IPKernelApp):
    """A kernel that does not list the files of all modules for its debugger.

    The list touches every module that the warm server has loaded, which a fork pays for by a copy
    of the memory that it touches: half of what the start of a kernel took.
    """

    def init_kernel(self) -> None:
        """Create the kernel, and the shell in which the cells run."""
        with _no_modules_to_list():
            super().init_kernel()


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
