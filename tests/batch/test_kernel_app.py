"""The kernel of a batch is ipykernel's, as far as its cells can tell."""

import os
from pathlib import Path

import pytest

from tests.batch.kernels_for_tests import Session, in_kernel
from trialkit.batch import warm_server

pytestmark = pytest.mark.skipif(not warm_server.available(), reason="processes cannot fork here")


def said(folder: Path, *cells: str) -> list[str]:
    """What each cell wrote, run one after the other in one kernel."""

    async def steps(session: Session) -> list[str]:
        return [await session.answer(cell) for cell in cells]

    return in_kernel(folder, steps)


def test_its_modules_are_all_there_although_no_debugger_was_told_of_them(tmp_path: Path) -> None:
    whole = "import sys, ipykernel.ipkernel as k; print(k.sys is sys, 'pandas' in sys.modules)"
    listed = "print(get_ipython().kernel._kernel_modules)"
    assert said(tmp_path, whole, listed) == ["True True", "[]"]


def test_text_belongs_to_the_cell_that_wrote_it_and_keeps_its_order(tmp_path: Path) -> None:
    cells = ["print('a', end=''); print('b')", "pass", "import sys; print('c'); sys.stdout.flush()"]
    assert said(tmp_path, *cells) == ["ab", "", "c"]


def test_text_that_was_not_flushed_is_sent_at_the_end_of_the_cell(tmp_path: Path) -> None:
    assert said(tmp_path, "import sys; _ = sys.stdout.write('late')", "1;") == ["late", ""]


def test_text_of_another_program_arrives(tmp_path: Path) -> None:
    # It comes through a pipe with a reader of its own, which ipykernel leaves out under pytest.
    cell = "import os, time; os.system('echo from outside'); time.sleep(0.3)"
    environment = {k: v for k, v in os.environ.items() if k != "PYTEST_CURRENT_TEST"}
    heard = in_kernel(tmp_path, lambda session: session.answer(cell), env=environment)
    assert heard == "from outside"


def test_it_goes_on_after_an_error(tmp_path: Path) -> None:
    assert said(tmp_path, "1 / 0", "print('on')") == ["ZeroDivisionError", "on"]
