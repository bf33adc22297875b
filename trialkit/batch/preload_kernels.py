"""Imported once in the warm server of the kernels: all that a report would load for itself.

Nothing here may depend on who asks: no random number is drawn, no figure backend is chosen.
"""

import builtins
import importlib
import pkgutil
import sys
from collections.abc import Hashable, Iterable, Iterator, Mapping, MutableMapping, Sequence, Sized
from contextlib import contextmanager
from numbers import Real
from pathlib import Path
from types import SimpleNamespace
from typing import Any

from trialkit.batch.preload import load, loading

MODULES = (
    "trialkit.batch.kernel_app",
    "ipykernel.debugger",
    "IPython.core.completer",
    "IPython.core.completerlib",
    "IPython.core.debugger",
    "IPython.core.historyapp",
    "IPython.core.logger",
    "IPython.core.oinspect",
    "IPython.extensions.storemagic",
    "encodings.utf_8_sig",
    "faulthandler",
    "matplotlib.pyplot",
    "matplotlib.backends.backend_agg",
    "matplotlib.mathtext",
    "openpyxl",
    "pandas.core.methods.to_dict",
    "pandas.core.reshape.reshape",
    "pandas.io.formats.csvs",
    "pdb",
    "pingouin",
    "resource",
    "tornado.platform.asyncio",
    "trialkit.inference.counts",
    "trialkit.inference.proportions",
    "zmq.utils.garbage",
)
OPENED = ("open_report", "open_across", "open_final")  # what the notebooks of a batch begin with
# Libraries look whether these are there, and load half of them for frames that are never used
# here, for a debugger that no batch has, and for controls that no page has.
LEFT_OUT = ("dask", "debugpy", "ipywidgets")
FILLED = (  # functions without arguments that fill what every report would fill anew
    # Whoever names a figure backend looks for those of all installed libraries.
    "matplotlib.backends.backend_registry.list_all",
    "trialkit.study.units.know_every_conversion",
    "trialkit.figures.theme.draw_common",
    "trialkit.inference.multivariate_t.know_every_rule",
)


def load_all() -> None:
    """Import everything and let caches fill that every report fills anew."""
    with _as_in_a_kernel(), _hidden(*LEFT_OUT):
        load(MODULES)
        # By name and not by an import statement: the batch runs notebooks, it does not compute.
        trialkit = importlib.import_module("trialkit")
        for name in OPENED:
            getattr(trialkit, name)
        for place in FILLED:
            pkgutil.resolve_name(place)()
        settle_kinds()
    # Last, since libraries behave otherwise where they find a shell.
    importlib.import_module("trialkit.batch.kernel_app").make_shell_ready()


def settle_kinds() -> None:
    """Ask of common values what they are, as pandas and matplotlib do all the time.

    The first answer about a class takes a walk through all classes that the abstract one knows; it
    is kept.
    """
    pandas = importlib.import_module("pandas")
    series, times = pandas.Series(dtype=float), pandas.DatetimeIndex([])
    values: list[Any] = [0.0, 0, True, None, pandas.NaT, float, "", [], (), {}, {}.values(), Path()]
    values += [zip(), iter([]), series, series.index, series.array, pandas.array([""], dtype="str")]
    values += [times, times.array, times - times, (times - times).array, (one for one in values)]
    for value in values:
        for kind in (Hashable, Iterable, Mapping, MutableMapping, Real, Sequence, Sized):
            isinstance(value, kind)


@contextmanager
def _as_in_a_kernel() -> Iterator[None]:
    """Let pandas find a kernel: at import it chooses how many columns a table shows by asking."""
    builtins.get_ipython = lambda: SimpleNamespace(kernel=True)  # type: ignore[attr-defined]
    try:
        yield
    finally:
        del builtins.get_ipython  # type: ignore[attr-defined]


@contextmanager
def _hidden(*names: str) -> Iterator[None]:
    """Let imports find libraries missing; afterwards they can be imported as ever."""
    hidden = [name for name in names if name not in sys.modules]
    sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]
    try:
        yield
    finally:
        for name in hidden:
            del sys.modules[name]


with loading():
    load_all()
