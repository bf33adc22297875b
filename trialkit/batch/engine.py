"""The papermill engine of the batch: cells run in kernels that start warm."""

import time
from collections.abc import Mapping
from datetime import datetime
from queue import Empty
from typing import Any

from jupyter_client.utils import run_sync
from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError
from nbformat import from_dict
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import NBClientEngine, papermill_engines

from trialkit.batch.provisioner import WarmManager, is_end_of

ENGINE = "trialkit"
LOOK = 0.5  # seconds between looks whether a silent kernel is still there

PARTS = {  # of an output in a notebook, by its kind
    "display_data": ("data", "metadata"),
    "execute_result": ("data", "metadata", "execution_count"),
    "stream": ("name", "text"),
}


class BatchClient(PapermillNotebookClient):
    """papermill's own client, which waits for one answer after the other and for nothing else.

    nbclient gives each cell three tasks of an event loop; they take longer than most cells. A
    kernel that hangs is killed and not asked to end.
    """

    def execute(self, **options: Any) -> Any:
        """Run the notebook in a kernel of its own."""
        self.reset_execution_trackers()
        with self.setup_kernel(**options):
            self.papermill_execute_cells()
            self.nb.metadata["language_info"] = self.kc.language_info
            self.set_widgets_metadata()
        return self.nb

    def papermill_execute_cells(self) -> None:
        """Run the cells one after the other up to one that fails; papermill notes how they went.

        The kernel is asked for a cell once all that the one before showed is here: what a process
        that dies has not sent yet is lost, and the cell in which it died would not be known.
        """
        for index, cell in enumerate(self.nb.cells):
            if not self._has_code(cell):
                continue
            self.nb_man.cell_start(cell, index)
            try:
                self._take_in(self._ask(cell), cell, index)
            except CellExecutionError as error:
                self.nb_man.cell_exception(cell, index, exception=error)
                break
            finally:
                self._complete(cell, index)

    def _complete(self, cell: Any, index: int) -> None:
        """Let papermill note how a cell went, without its reading of dates in any format."""
        notes = cell.metadata.papermill
        begun = notes.pop("start_time")
        self.nb_man.cell_complete(cell, index)
        took = datetime.fromisoformat(notes.end_time) - datetime.fromisoformat(begun)
        notes.update(start_time=begun, duration=took.total_seconds())

    def _has_code(self, cell: Any) -> bool:
        skipped = self.skip_cells_with_tag in cell.metadata.get("tags", ())
        return cell.cell_type == "code" and not skipped and bool(cell.source.strip())

    def _ask(self, cell: Any) -> str:
        may_fail = self.allow_errors or "raises-exception" in cell.metadata.get("tags", ())
        return str(self.kc.execute(cell.source, stop_on_error=not may_fail))

    def _take_in(self, asked: str, cell: Any, cell_index: int) -> None:
        """Wait for one cell and take in what it shows.

        Raises CellExecutionError when the cell fails, CellTimeoutError when it takes too long and
        DeadKernelError when the kernel ends in it.
        """
        cell.outputs = []
        self.clear_before_next_output = False
        self.code_cells_executed += 1
        reply = self._answer(asked, cell, cell_index)
        if reply["content"]["status"] == "error":
            run_sync(self._check_raise_for_error)(cell, cell_index, reply)

    def _answer(self, asked: str, cell: Any, cell_index: int) -> Mapping[str, Any]:
        """Return the reply to a cell, once all that it published is taken in."""
        deadline = time.monotonic() + (self.timeout or float("inf"))
        while True:
            message = self._next(self.kc.iopub_channel, deadline, cell)
            if is_end_of(message, asked):
                break
            if message["parent_header"].get("msg_id") == asked:
                self.process_message(message, cell, cell_index)
        while True:
            reply = self._next(self.kc.shell_channel, deadline, cell)
            if reply["parent_header"].get("msg_id") == asked:
                return reply

    def _next(self, channel: Any, deadline: float, cell: Any) -> Mapping[str, Any]:
        while True:
            left = deadline - time.monotonic()
            try:
                return channel.get_msg(timeout=max(0.0, min(LOOK, left)))
            except Empty:
                if not self.km.lives():
                    raise DeadKernelError("Kernel died") from None
                if left <= 0:
                    self.shutdown_kernel = "immediate"
                    raise CellTimeoutError.error_from_timeout_and_cell(
                        "Cell execution timed out", self.timeout, cell
                    ) from None

    def output(
        self, outs: list[Any], msg: dict[str, Any], display_id: str | None, cell_index: int
    ) -> Any:
        """Take in what a cell shows; in the plain case without asking the notebook's schema."""
        hooked = self.output_hook_stack.get(msg["parent_header"].get("msg_id"))
        if display_id or hooked or self.clear_before_next_output or msg["msg_type"] not in PARTS:
            return super().output(outs, msg, display_id, cell_index)
        parts = {name: msg["content"][name] for name in PARTS[msg["msg_type"]]}
        outs.append(from_dict({"output_type": msg["msg_type"], **parts}))
        return outs[-1]


class BatchEngine(NBClientEngine):
    """papermill's own way of running cells, in a kernel that starts warm."""

    @classmethod
    def execute_managed_notebook(
        cls,
        nb_man: Any,
        kernel_name: str,
        execution_timeout: float | None = None,
        resources: dict[str, Any] | None = None,
        **options: Any,
    ) -> Any:
        """Run the cells of the managed notebook."""
        client = BatchClient(
            nb_man,
            kernel_name=kernel_name,
            kernel_manager_class=WarmManager,
            timeout=execution_timeout,
            record_timing=False,
            resources=resources or {},
        )
        return client.execute()


def register() -> None:
    """Make the engine known to papermill in this process."""
    papermill_engines.register(ENGINE, BatchEngine)
