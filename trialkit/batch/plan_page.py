"""The page of a plan: its notebook, run by papermill, and the page made of it."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from trialkit.batch.execute import execute
from trialkit.batch.files import write_whole
from trialkit.batch.resources import notebooks_folder
from trialkit.batch.run import TIMEOUT
from trialkit.batch.templates import read_template
from trialkit.batch.work import notebook_bytes, relative_study
from trialkit.errors import TrialkitError
from trialkit.publish import PageFacts
from trialkit.study import Study

TEMPLATE: Final = "plan_trial.ipynb"


def render_plan(study: Study, asked: Mapping[str, Any], folder: Path) -> tuple[Path, Path]:
    """Write plan.ipynb and plan.html into a folder that exists; return their paths.

    ``asked`` are parameters of the notebook (season, site, today). Raises TrialkitError where a
    cell fails.
    """
    from trialkit.publish.page import report_page

    parameters = {"study": relative_study(study.folder, folder), "output": "", **asked}
    run = execute(read_template(notebooks_folder() / TEMPLATE), parameters, folder, TIMEOUT)
    if run.fault:
        raise TrialkitError(f"{TEMPLATE}::: cell {run.fault.cell} stopped: {run.fault.text}")
    notebook, page = folder / "plan.ipynb", folder / "plan.html"
    write_whole(notebook, notebook_bytes(run.notebook))
    facts = PageFacts("Plan of the trial", study.title, study.invented)
    write_whole(page, report_page(run.notebook, facts).encode())
    return notebook, page
