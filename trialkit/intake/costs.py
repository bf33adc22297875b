"""Reading costs.csv, which stands beside study.toml and is asked for by the economics only."""

from dataclasses import dataclass, field, replace

import pandas as pd

from trialkit.errors import Fault
from trialkit.intake.context import Context
from trialkit.intake.corrections import read_corrections
from trialkit.intake.files import FileRecord, read_text_sheet
from trialkit.intake.problems import empty_left_out
from trialkit.intake.read import checked_table
from trialkit.intake.schemas import blank_table_frame
from trialkit.study import Study, wrong_amount

COSTS_FILE = "costs.csv"


@dataclass(frozen=True)
class Costs:
    """The costs of the treatments: ``table`` (no rows where there is no file), faults, file.

    ``incomplete`` names the treatments of rows that were left out: their costs are not known.
    """

    table: pd.DataFrame
    faults: tuple[Fault, ...] = ()
    files: tuple[FileRecord, ...] = ()
    left_out: pd.DataFrame = field(default_factory=empty_left_out)
    incomplete: tuple[str, ...] = ()


def read_costs(study: Study) -> Costs:
    """Read costs.csv of a study; a study without one has no costs, and that is no fault."""
    path = study.folder / COSTS_FILE
    if not path.is_file():
        return Costs(blank_table_frame("costs"))
    sheet, record = read_text_sheet(study, "costs", path)
    checked = checked_table([sheet], Context(study, None, None, read_corrections(study)))
    dropped = checked.typed.frame.reindex(checked.left_out["row"].tolist())
    named = dropped["treatment"].dropna() if "treatment" in dropped else dropped.index[:0]
    incomplete = tuple(dict.fromkeys(map(str, named)))
    faults = tuple(_in_currency(fault, study) for fault in checked.faults)
    return Costs(checked.frame, faults, (record,), checked.left_out, incomplete)


def _in_currency(fault: Fault, study: Study) -> Fault:
    """Say of a price in another currency that it is, rather than that it is no number."""
    what = wrong_amount(fault.value, study.currency)
    if fault.column != "price" or " is in " not in what:
        return fault
    remedy = f"Type the price in {study.currency}, the number alone"
    return replace(fault, what=what, remedy=remedy, code="currency")
