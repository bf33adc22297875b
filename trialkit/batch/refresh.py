"""Run the notebook templates in place on the example study: ``python -m trialkit.batch.refresh``.

What is committed then shows real results, which nbval compares with a fresh run.
"""

import sys
from pathlib import Path

from trialkit.batch.execute import execute
from trialkit.batch.files import write_whole
from trialkit.batch.resources import notebooks_folder
from trialkit.batch.run import TIMEOUT
from trialkit.batch.templates import read_template
from trialkit.batch.work import notebook_bytes
from trialkit.errors import TrialkitError


def refresh(folder: Path) -> tuple[Path, ...]:
    """Execute every notebook of ``folder`` in place; raises TrialkitError when a cell fails."""
    paths = tuple(sorted(folder.glob("*.ipynb")))
    for path in paths:
        run = execute(read_template(path), {}, folder, TIMEOUT)
        if run.fault:
            raise TrialkitError(f"{path}: cell {run.fault.cell}: {run.fault.text}")
        write_whole(path, notebook_bytes(run.notebook))
    return paths


if __name__ == "__main__":
    for path in refresh(Path(sys.argv[1]) if sys.argv[1:] else notebooks_folder()):
        print(path)
