"""The papermill engine of the batch: it keeps the notebook at hand, whatever becomes of the run."""

from typing import Any

from papermill.engines import NBClientEngine, papermill_engines

ENGINE = "trialkit"


class BatchEngine(NBClientEngine):
    """papermill's own engine; ``keep`` receives the notebook as it runs, for when it fails."""

    @classmethod
    def execute_managed_notebook(
        cls, nb_man: Any, kernel_name: str, keep: list[Any] | None = None, **options: Any
    ) -> Any:
        """Run the cells of the managed notebook."""
        if keep is not None:
            keep.append(nb_man.nb)
        return super().execute_managed_notebook(nb_man, kernel_name, **options)


def register() -> None:
    """Make the engine known to papermill in this process."""
    papermill_engines.register(ENGINE, BatchEngine)
