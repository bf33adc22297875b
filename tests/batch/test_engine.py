"""The batch's client keeps what cells show as nbclient, which waits in another way, keeps it."""

import json
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import nbformat
import pytest
from jupyter_client.session import Session
from nbclient import NotebookClient

from trialkit.batch import warm_server
from trialkit.batch.engine import BatchClient
from trialkit.batch.execute import Run, execute
from trialkit.batch.provisioner import PlainChannel
from trialkit.batch.templates import read_template

SHOWN = (
    "print('a'); print('b')",
    "import sys; print('out'); print('err', file=sys.stderr)",
    "from IPython.display import HTML, clear_output, display",
    "handle = display('old', display_id=1)",
    "display(HTML('<b>1</b>'), metadata={'k': 1}); 7",
    "handle.update('new')",
    "print('gone'); clear_output(); print('stays')",
    "print('gone'); clear_output(wait=True); print('stays')",
    "",
    "x = 1;",
    "_",
)


def notebook_of(*cells: str, tags: tuple[str, ...] = ()) -> Any:
    """A notebook whose last cell bears the tags."""
    made = [nbformat.v4.new_code_cell(source) for source in ("a = 0", *cells)]
    made[0].metadata.tags = ["parameters"]
    made[-1].metadata.tags = list(tags) or made[-1].metadata.get("tags", [])
    spec = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return nbformat.v4.new_notebook(cells=made, metadata={"kernelspec": spec})


def ran(folder: Path, notebook: Any, timeout: float = 60.0) -> Run:
    """Run a notebook as the batch does."""
    path = folder / "n.ipynb"
    path.write_text(json.dumps(notebook))
    return execute(read_template(path), {"a": 1}, folder, timeout)


def test_outputs_are_those_that_nbclient_keeps(tmp_path: Path) -> None:
    expected = NotebookClient(notebook_of(*SHOWN), kernel_name="python3").execute()
    found = ran(tmp_path, notebook_of(*SHOWN)).notebook
    outputs = [cell.outputs for cell in found.cells if cell.id != "injected-parameters"]
    assert len(outputs) == len(expected.cells)
    for mine, theirs in zip(outputs, expected.cells, strict=True):
        assert [counted(one) for one in mine] == [counted(one) for one in theirs.outputs]


def counted(output: Any) -> dict[str, Any]:
    """An output without its number, since the batch's notebook has a cell more."""
    return {key: one for key, one in output.items() if key != "execution_count"}


def test_the_notebook_that_was_run_is_a_valid_one(tmp_path: Path) -> None:
    found = ran(tmp_path, notebook_of(*SHOWN)).notebook
    nbformat.validate(found)
    assert found.metadata.language_info.name == "python"


def test_a_message_that_the_kernel_did_not_sign_is_refused() -> None:
    def received(key: bytes) -> Any:
        parts = Session(key=key).serialize(Session(key=key).msg("status", {"n": 1}))
        socket: Any = SimpleNamespace(recv_multipart=lambda: parts)
        return PlainChannel(socket, Session(key=b"ours"))._recv()

    assert received(b"ours")["content"] == {"n": 1}
    with pytest.raises(ValueError, match="does not come from its kernel"):
        received(b"of another")


def test_a_cell_that_may_fail_does_not_end_the_run(tmp_path: Path) -> None:
    run = ran(tmp_path, notebook_of("1 / 0", tags=("raises-exception",)))
    assert run.notebook.cells[-1].outputs[0].ename == "ZeroDivisionError"


@pytest.mark.parametrize("forks", [True, False])
def test_a_cell_runs_once_all_that_the_one_before_showed_is_taken_in(
    tmp_path: Path, monkeypatch, forks: bool
) -> None:
    taken, take_in = tmp_path / "taken", BatchClient._take_in

    def late(*cell: Any) -> None:
        time.sleep(0.2)
        take_in(*cell)
        with taken.open("a") as log:
            log.write("x")

    monkeypatch.setattr(BatchClient, "_take_in", late)
    monkeypatch.setattr(warm_server, "available", lambda: forks)
    run = ran(tmp_path, notebook_of("1", "open('taken').read()"))
    before = len(run.notebook.cells) - 1
    assert run.notebook.cells[-1].outputs[0].data["text/plain"] == repr("x" * before)


@pytest.mark.parametrize("forks", [True, False])
def test_no_cell_runs_after_one_that_failed(tmp_path: Path, monkeypatch, forks: bool) -> None:
    monkeypatch.setattr(warm_server, "available", lambda: forks)
    run = ran(tmp_path, notebook_of("1 / 0", "open('after', 'w').close()", "1"))
    assert run.fault is not None
    assert not (tmp_path / "after").exists()


def test_cells_after_one_that_may_fail_run(tmp_path: Path) -> None:
    notebook = notebook_of("1 / 0", "print('on')")
    notebook.cells[1].metadata.tags = ["raises-exception"]
    assert ran(tmp_path, notebook).notebook.cells[-1].outputs[0].text == "on\n"


def test_what_a_cell_wrote_before_it_hung_is_kept(tmp_path: Path) -> None:
    run = ran(tmp_path, notebook_of("print('here'); import time; time.sleep(60)"), timeout=2.0)
    assert run.notebook.cells[-1].outputs[0].text == "here\n"


def test_text_comes_in_one_piece_however_long_the_cell_takes(tmp_path: Path) -> None:
    each = "print(n, file=sys.stderr); print(n); time.sleep(0.5)"
    cell = f"import sys, time\nfor n in 'ab':\n    {each}\ndisplay(1); print('c')"
    outputs = ran(tmp_path, notebook_of(cell)).notebook.cells[-1].outputs
    kept = [(one.get("name"), one.get("text")) for one in outputs]
    assert kept == [("stdout", "a\nb\n"), ("stderr", "a\nb\n"), (None, None), ("stdout", "c\n")]


def test_a_cell_that_is_to_be_skipped_does_not_run(tmp_path: Path) -> None:
    run = ran(tmp_path, notebook_of("print(1)", tags=("skip-execution",)))
    assert run.fault is None
    assert run.notebook.cells[-1].outputs == []


@pytest.mark.parametrize(
    ("cell", "name"),
    [
        ("1 / 0", "ZeroDivisionError"),
        ("import os; os._exit(1)", "DeadKernelError"),
        ("import time; time.sleep(60)", "CellTimeoutError"),
    ],
)
def test_the_cell_at_fault_is_named_and_none_after_it_runs(tmp_path: Path, cell, name) -> None:
    run = ran(tmp_path, notebook_of("print(1)", cell, "print(2)"), timeout=2.0)
    assert run.fault is not None
    assert (run.fault.name, run.fault.source) == (name, cell)
    shown = {one.source: one.outputs for one in run.notebook.cells if one.cell_type == "code"}
    assert [len(shown[f"print({n})"]) for n in (1, 2)] == [1, 0]
