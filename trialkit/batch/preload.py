"""Imported once in the warm server: all that a kernel or a worker would import for itself.

Nothing here may depend on who asks: no random number is drawn, no figure backend is chosen.
"""

import builtins
import gc
import importlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from types import SimpleNamespace

MODULES = (
    # rfc3987_syntax builds a grammar for a second; nbformat asks for it where it is installed.
    "rfc3987_syntax",
    "ipykernel.kernelapp",
    "ipykernel.debugger",
    "IPython.core.completer",
    "IPython.core.historyapp",
    "matplotlib.pyplot",
    "matplotlib.backends.backend_agg",
    "matplotlib.mathtext",
    "seaborn",
    "pandas.io.formats.style",
    "statsmodels.api",
    "openpyxl",
    "papermill",
    "trialkit.batch.engine",
    "trialkit.batch.work",
    "trialkit.publish.page",
)


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
    with as_in_a_kernel():
        for name in MODULES:
            with suppress(ImportError):
                importlib.import_module(name)
        # By name and not by an import statement: the batch runs notebooks, it does not compute.
        trialkit = importlib.import_module("trialkit")
        for name in trialkit.__all__:
            getattr(trialkit, name)
    _warm_up()
    # What is loaded here lives as long as every fork: none of them need ever look through it.
    gc.collect()
    gc.freeze()


def _warm_up() -> None:
    """Let caches fill that every figure fills anew: fonts and text layout."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    figure = Figure(figsize=(1, 1))
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    axes.set_title("Warm − up 0.5 %")
    figure.canvas.draw()


preload()
