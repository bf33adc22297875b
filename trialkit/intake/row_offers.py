"""Rows typed twice, offered to be taken out on record; only the sheets that hold one are read."""

from collections.abc import Iterator
from typing import Final

from trialkit.errors import Fault
from trialkit.intake.corrections import LEAVE_OUT, Correction, row_text, rows_of
from trialkit.intake.files import find_sheets
from trialkit.intake.header import Sheet
from trialkit.intake.site_season import SiteSeason
from trialkit.study import Study

# Two crates of one picking may weigh the same; in these tables a second row can only be a slip.
_ONE_ROW_EACH: Final = ("scouting", "ratings", "events", "weather")


def repeated_row_offers(study: Study, one: SiteSeason) -> Iterator[Correction]:
    """Yield a line that takes out each row which says the same as an earlier one, unsigned."""
    told = [fault for fault in one.errors if fault.code == "duplicate_row"]
    if not told:
        return
    sheets = find_sheets(study, study.data_folder(one.season, one.site)).sheets
    by_file = {s.place.file: s for table in _ONE_ROW_EACH for s in sheets.get(table, ())}
    for fault in told:
        if fault.file in by_file:
            yield from _offer(fault, by_file[fault.file])


def _offer(fault: Fault, sheet: Sheet) -> Iterator[Correction]:
    """The offer, where the row of the fault is one row of the table."""
    blank = Correction(sheet.place.path, fault.row, "", "", "", LEAVE_OUT, why=fault.what)
    rows = rows_of(blank, sheet.cells, sheet.place)
    if len(rows) == 1:
        was = row_text(sheet.cells, rows[0])
        yield Correction(blank.file, blank.row, "", "", was, LEAVE_OUT, why=blank.why)
