"""The papermill engine of the batch: cells run in kernels that start warm."""

from typing import Any

from nbclient.exceptions import CellTimeoutError
from papermill.clientwrap import PapermillNotebookClient
from papermill.engines import NBClientEngine, papermill_engines

from trialkit.batch.provisioner import WarmManager

ENGINE = "trialkit"


class BatchClient(PapermillNotebookClient):
    """papermill's own client; a kernel that hangs is killed and not asked to end."""

    def papermill_execute_cells(self) -> None:
        """Run the cells one after the other."""
        try:
            super().papermill_execute_cells()
        except CellTimeoutError:
            self.shutdown_kernel = "immediate"
            raise


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
