"""Run the notebook templates in place on the example study: ``python -m trialkit.batch.refresh``.

What is committed then shows real results, which nbval compares with a fresh run.
"""

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from trialkit.batch.execute import execute
from trialkit.batch.files import write_whole
from trialkit.batch.resources import notebooks_folder
from trialkit.batch.run import TIMEOUT
from trialkit.batch.templates import read_template
from trialkit.batch.work import notebook_bytes
from trialkit.errors import TrialkitError


def refresh(paths: Iterable[Path]) -> Iterator[Path]:
    """Execute notebooks in place, each in its own folder; TrialkitError when a cell fails."""
    for path in paths:
        run = execute(read_template(path), {}, path.parent, TIMEOUT)
        if run.fault:
            raise TrialkitError(f"{path}: cell {run.fault.cell}: {run.fault.text}")
        write_whole(path, notebook_bytes(run.notebook))
        yield path


if __name__ == "__main__":
    named = [Path(word).resolve() for word in sys.argv[1:]]
    for path in refresh(named or sorted(notebooks_folder().glob("*.ipynb"))):
        print(path)
