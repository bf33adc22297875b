"""How a warm server loads, once, what each of its forks would load for itself."""

import gc
import importlib
import importlib.util
import os
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from types import ModuleType
from typing import Any

from trialkit.batch.warm_server import PARENT

SEVERAL = 5_000  # objects between looks for what is out of use; Python's 700 are for less memory
GRAMMAR = "rfc3987_syntax"
LOOK = 0.1  # seconds between looks at whether the one who started the server still lives


@contextmanager
def loading() -> Iterator[None]:
    """Load what every fork of this process shares; the process ends with the one that started it.

    What is loaded lives as long as every fork, so that nobody need ever look through it for what
    is out of use: neither the loading, which took a sixth longer, nor any fork.
    """
    gc.disable()
    with _ending_with_parent(), _grammar_left_for_later():
        yield
    gc.freeze()
    gc.enable()
    gc.set_threshold(SEVERAL, 10, 10)


def load(names: Iterable[str]) -> None:
    """Import modules; one that is not installed is left to the one who needs it."""
    for name in names:
        with suppress(ImportError):
            importlib.import_module(name)


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


def _is_valid_syntax(*asked: Any, **named: Any) -> Any:
    return importlib.import_module(GRAMMAR).is_valid_syntax(*asked, **named)


@contextmanager
def _ending_with_parent() -> Iterator[None]:
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
