"""Running one notebook with papermill: in a kernel of its own, with nothing left of the clock."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from typing import Any

from trialkit.batch.templates import KERNEL, Template, source_of

# Kept as words: importing papermill takes a second that a render with nothing due need not spend.
_CLOCK_IN_CELLS = ("papermill", "execution")
_INJECTED = "injected-parameters"


@dataclass(frozen=True)
class Run:
    """An executed notebook, the seconds of each code cell, and what went wrong (nothing: None)."""

    notebook: Any
    cells: tuple[dict[str, Any], ...]
    fault: "CellFault | None" = None


@dataclass(frozen=True)
class CellFault:
    """The cell that failed: number among all cells, its code, name and text of the error."""

    cell: int
    source: str
    name: str
    text: str


def execute(template: Template, parameters: Mapping[str, Any], folder: Path, timeout: float) -> Run:
    """Run a template with papermill; the kernel's working folder is ``folder``.

    ``timeout`` is the number of seconds that one cell may take. A failing cell does not raise: it
    comes back as ``Run.fault`` with the notebook as far as it ran.
    """
    from nbclient.exceptions import CellTimeoutError, DeadKernelError
    from papermill.exceptions import PapermillExecutionError

    notebook = template.with_parameters(parameters)
    fault = None
    try:
        _run(notebook, folder, timeout)
    except PapermillExecutionError as error:
        fault = CellFault(error.cell_index + 1, error.source, error.ename, error.evalue)
    except CellTimeoutError:
        fault = _at_running_cell(notebook, "CellTimeoutError", f"it took longer than {timeout:g} s")
    except DeadKernelError:
        fault = _at_running_cell(
            notebook, "DeadKernelError", "its process died, as happens when memory runs out"
        )
    return Run(timeless(notebook, parameters), seconds_of_cells(notebook), fault)


def _run(notebook: Any, folder: Path, timeout: float) -> None:
    """Run the cells of a notebook in place, as far as they go.

    These are the last steps of papermill's own ``execute_notebook``, which at its end would write
    the whole notebook as text once more, for no file.
    """
    from papermill.engines import papermill_engines
    from papermill.execute import raise_for_execution_errors

    from trialkit.batch.engine import ENGINE, register

    register()
    papermill_engines.execute_notebook_with_engine(
        ENGINE,
        notebook,
        KERNEL,
        progress_bar=False,
        autosave_cell_every=0,
        execution_timeout=timeout,
        resources={"metadata": {"path": str(folder)}},
    )
    raise_for_execution_errors(notebook, None)


def _at_running_cell(notebook: Any, name: str, text: str) -> CellFault:
    cells = notebook.cells
    at = max(
        (n for n, cell in enumerate(cells) if cell.metadata.get("papermill", {}).get("start_time")),
        default=0,
    )
    return CellFault(at + 1, source_of(cells[at]), name, text)


def seconds_of_cells(notebook: Any) -> tuple[dict[str, Any], ...]:
    """Return how long each code cell took, by cell id."""
    return tuple(
        {"cell": _name_of(cell), "seconds": cell.metadata.papermill.duration}
        for cell in notebook.cells
        if cell.cell_type == "code" and cell.metadata.get("papermill", {}).get("duration")
    )


def _name_of(cell: Any) -> str:
    return _INJECTED if _INJECTED in cell.metadata.get("tags", ()) else str(cell.get("id", ""))


def timeless(notebook: Any, parameters: Mapping[str, Any]) -> Any:
    """Return the notebook without times, paths and random ids, so that equal runs are equal bytes.

    The parameter ``output`` is emptied: the kept notebook writes no file when run by hand. All
    outputs but text are those of ``notebook`` itself and no copies.
    """
    node = type(notebook)
    cells = [_timeless(cell, parameters) for cell in notebook.cells]
    metadata = node({key: one for key, one in notebook.metadata.items() if key != "papermill"})
    return node({**notebook, "metadata": metadata, "cells": cells})


def _timeless(cell: Any, parameters: Mapping[str, Any]) -> Any:
    node = type(cell)
    kept = {key: one for key, one in cell.metadata.items() if key not in _CLOCK_IN_CELLS}
    own: dict[str, Any] = {}
    if cell.cell_type == "code":
        own["outputs"] = _joined(cell.outputs)
    if _INJECTED in cell.metadata.get("tags", ()):
        kept["editable"] = False
        own |= {"id": _INJECTED, "source": _injected_source({**parameters, "output": ""})}
    return node({**cell, "metadata": node(kept), **own})


def _joined(outputs: Iterable[Any]) -> list[Any]:
    """Join the text that a cell wrote between two other outputs: standard output, then errors.

    In how many pieces it came, and in what order, depends on how long the cell took.
    """
    joined: list[Any] = []
    for is_text, run in groupby(outputs, lambda output: output.output_type == "stream"):
        pieces = list(run)
        joined += _in_one_piece(pieces) if is_text else pieces
    return joined


def _in_one_piece(texts: Iterable[Any]) -> Iterator[Any]:
    by_name = attrgetter("name")
    for _, written in groupby(sorted(texts, key=by_name, reverse=True), by_name):
        first, *others = written
        yield type(first)({**first, "text": "".join(one.text for one in (first, *others))})


def _injected_source(values: Mapping[str, Any]) -> str:
    lines = [f"{name} = {value!r}" for name, value in values.items()]
    return "\n".join(["# Parameters", *lines])
