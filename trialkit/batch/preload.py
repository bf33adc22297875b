"""Imported once in the warm server: all that a kernel or a worker would import for itself.

Nothing here may depend on who asks: no random number is drawn, no figure backend is chosen.
"""

import builtins
import gc
import importlib
import importlib.util
import os
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import ModuleType, SimpleNamespace
from typing import Any

from trialkit.batch.warm_server import PARENT

MODULES = (
    "ipykernel.kernelapp",
    "ipykernel.debugger",
    "IPython.core.completer",
    "IPython.core.historyapp",
    "matplotlib.pyplot",
    "matplotlib.backends.backend_agg",
    "matplotlib.mathtext",
    "openpyxl",
    "pandas.io.formats.csvs",
    "papermill",
    "pingouin",
    "trialkit.batch.engine",
    "trialkit.batch.work",
    "trialkit.inference.counts",
    "trialkit.inference.proportions",
    "trialkit.publish.page",
)
OPENED = ("open_report", "open_across", "open_final")  # what the notebooks of a batch begin with
GRAMMAR = "rfc3987_syntax"
CLUSTER = (
    "dask"  # libraries look whether it is there, and load half of it for frames never used here
)
LOOK = 0.1  # seconds between looks at whether the one who started the server still lives


@contextmanager
def as_in_a_kernel() -> Iterator[None]:
    """Let pandas find a kernel: at import it chooses how many columns a table shows by asking."""
    builtins.get_ipython = lambda: SimpleNamespace(kernel=True)  # type: ignore[attr-defined]
    try:
        yield
    finally:
        del builtins.get_ipython  # type: ignore[attr-defined]


def preload() -> None:
    """Import everything; a module that is not installed is left to the one who needs it."""
    with as_in_a_kernel(), _grammar_left_for_later(), _hidden(CLUSTER):
        for name in MODULES:
            with suppress(ImportError):
                importlib.import_module(name)
        # By name and not by an import statement: the batch runs notebooks, it does not compute.
        trialkit = importlib.import_module("trialkit")
        for name in OPENED:
            getattr(trialkit, name)
        _warm_up()
    # What is loaded here lives as long as every fork: none of them need ever look through it.
    gc.collect()
    gc.freeze()


@contextmanager
def _grammar_left_for_later() -> Iterator[None]:
    """Stand in for a library that spends a second on a grammar for which nearly nobody asks.

    Where it is installed, the checker of notebooks takes one function from it, for addresses that
    no notebook's schema asks for. The stand-in's function loads the library when it is called;
    whoever imports the library itself gets the library.
    """
    if GRAMMAR in sys.modules or importlib.util.find_spec(GRAMMAR) is None:
        yield
        return
    stand_in = ModuleType(GRAMMAR)
    stand_in.is_valid_syntax = _is_valid_syntax  # type: ignore[attr-defined]
    sys.modules[GRAMMAR] = stand_in
    try:
        yield
    finally:
        del sys.modules[GRAMMAR]


@contextmanager
def _hidden(name: str) -> Iterator[None]:
    """Let imports find a library missing; afterwards it can be imported as ever."""
    if name in sys.modules:
        yield
        return
    sys.modules[name] = None  # type: ignore[assignment]
    try:
        yield
    finally:
        del sys.modules[name]


def _is_valid_syntax(*asked: Any, **named: Any) -> Any:
    return importlib.import_module(GRAMMAR).is_valid_syntax(*asked, **named)


@contextmanager
def ending_with_parent() -> Iterator[None]:
    """End this process when the one that started it ends; the server itself looks only later.

    Who that is was written down, because it may have ended before this is asked.
    """
    parent, done = int(os.environ.pop(PARENT, os.getppid())), threading.Event()

    def watch() -> None:
        while not done.wait(LOOK):
            if os.getppid() != parent:
                os._exit(1)

    watcher = threading.Thread(target=watch, name="parent-watch", daemon=True)
    watcher.start()
    try:
        yield
    finally:
        # No thread may be under way when the server forks.
        done.set()
        watcher.join()


def _warm_up() -> None:
    """Let caches fill that every report fills anew: units, fonts and the outlines of letters."""
    importlib.import_module("trialkit.study.units").to_canonical(1.0, "weight", "us")
    importlib.import_module("trialkit.figures.theme").draw_letters()


with ending_with_parent():
    preload()
