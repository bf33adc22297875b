"""Imported once in the warm server of the kernels: all that a report would load for itself.

Nothing here may depend on who asks: no random number is drawn, no figure backend is chosen.
"""

import builtins
import importlib
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace

from trialkit.batch.preload import load, loading

MODULES = (
    "trialkit.batch.kernel_app",
    "ipykernel.debugger",
    "IPython.core.completer",
    "IPython.core.completerlib",
    "IPython.core.debugger",
    "IPython.core.historyapp",
    "IPython.core.oinspect",
    "IPython.extensions.storemagic",
    "faulthandler",
    "matplotlib.pyplot",
    "matplotlib.backends.backend_agg",
    "matplotlib.mathtext",
    "openpyxl",
    "pandas.core.methods.to_dict",
    "pandas.io.formats.csvs",
    "pdb",
    "pingouin",
    "tornado.platform.asyncio",
    "trialkit.inference.counts",
    "trialkit.inference.proportions",
)
OPENED = ("open_report", "open_across", "open_final")  # what the notebooks of a batch begin with
CLUSTER = (
    "dask"  # libraries look whether it is there, and load half of it for frames never used here
)


def load_all() -> None:
    """Import everything and let caches fill that every report fills anew."""
    with _as_in_a_kernel(), _hidden(CLUSTER):
        load(MODULES)
        # By name and not by an import statement: the batch runs notebooks, it does not compute.
        trialkit = importlib.import_module("trialkit")
        for name in OPENED:
            getattr(trialkit, name)
    # Whoever names a figure backend looks for those of all installed libraries.
    importlib.import_module("matplotlib.backends").backend_registry.list_all()
    importlib.import_module("trialkit.study.units").know_every_conversion()
    importlib.import_module("trialkit.figures.theme").draw_letters()
    # Last, since libraries behave otherwise where they find a shell.
    importlib.import_module("trialkit.batch.kernel_app").make_shell_ready()


@contextmanager
def _as_in_a_kernel() -> Iterator[None]:
    """Let pandas find a kernel: at import it chooses how many columns a table shows by asking."""
    builtins.get_ipython = lambda: SimpleNamespace(kernel=True)  # type: ignore[attr-defined]
    try:
        yield
    finally:
        del builtins.get_ipython  # type: ignore[attr-defined]


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


with loading():
    load_all()
