"""Reading costs.csv, which stands beside study.toml and is asked for by the economics only."""

from dataclasses import dataclass, field

import pandas as pd

from trialkit.errors import Fault
from trialkit.intake.context import Context
from trialkit.intake.files import FileRecord, read_text_sheet
from trialkit.intake.problems import empty_left_out
from trialkit.intake.read import checked_table
from trialkit.intake.schemas import blank_table_frame
from trialkit.study import Study

COSTS_FILE = "costs.csv"


@dataclass(frozen=True)
class Costs:
    """The costs of the treatments: ``table`` (no rows where there is no file), faults, file."""

    table: pd.DataFrame
    faults: tuple[Fault, ...] = ()
    files: tuple[FileRecord, ...] = ()
    left_out: pd.DataFrame = field(default_factory=empty_left_out)


def read_costs(study: Study) -> Costs:
    """Read costs.csv of a study; a study without one has no costs, and that is no fault."""
    path = study.folder / COSTS_FILE
    if not path.is_file():
        return Costs(blank_table_frame("costs"))
    sheet, record = read_text_sheet(study, "costs", path)
    checked = checked_table(sheet, Context(study, None, None))
    return Costs(checked.frame, checked.faults, (record,), checked.left_out)
