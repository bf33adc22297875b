"""Reading a site-season: files in, tidy tables out, every fault of every file named."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import pandas as pd

from trialkit.columns import QUANTITY_OF_COLUMN
from trialkit.intake.answers import with_answers
from trialkit.intake.assemble import CheckedTable, put_together, unreadable, without_folder
from trialkit.intake.cells import Typed, typed_sheet
from trialkit.intake.checks import cross_problems
from trialkit.intake.context import Context, Layout
from trialkit.intake.corrections import Corrections, corrected, read_corrections
from trialkit.intake.files import find_sheets
from trialkit.intake.header import Sheet
from trialkit.intake.layout import layout_of, plot_problems
from trialkit.intake.problems import (
    LEFT_OUT,
    SHEET_STRIDE,
    Place,
    Problem,
    as_faults,
    left_out_rows,
    source_row,
)
from trialkit.intake.rules import schema_problems
from trialkit.intake.schemas import blank_table_frame
from trialkit.intake.site_season import SiteSeason, empty_weather
from trialkit.intake.stack import stacked, without_copies
from trialkit.study import Study
from trialkit.study.units import to_canonical


def read_site_season(
    study: Study,
    season: int,
    site: str,
    *,
    as_typed: bool = False,
    corrections: Corrections | None = None,
) -> SiteSeason:
    """Read the files of one site in one season; nothing is raised for what people typed.

    Faults say what is wrong; rows with an error are in ``left_out`` and not in ``tables``.
    ``as_typed`` leaves corrections.csv aside, to see what hangs on it; ``corrections`` are those of
    the study where they are read already.
    """
    folder = study.data_folder(season, site)
    if not folder.is_dir():
        return without_folder(study, season, site, folder)
    found = find_sheets(study, folder)
    if found.unusable:
        return unreadable(season, site, found)
    if as_typed or corrections is None:
        corrections = Corrections() if as_typed else read_corrections(study)
    context = Context(study, study.season(season), None, corrections)
    checked = {}
    if "plots" in found.sheets:
        checked["plots"] = checked_table(found.sheets["plots"], context)
        context = replace(context, layout=_layout(checked["plots"]))
    for table, sheets in found.sheets.items():
        if table != "plots":
            checked[table] = checked_table(sheets, context)
    shown = (sheet.preview for sheets in found.sheets.values() for sheet in sheets)
    one = replace(
        put_together(context, season, site, found, checked),
        earlier_weather=_earlier_weather(checked, study),
        previews=tuple(preview for preview in shown if preview is not None),
    )
    return with_answers(one, context, checked)


def _earlier_weather(checked: Mapping[str, CheckedTable], study: Study) -> pd.DataFrame:
    """Days of earlier years in a station's file, in SI units."""
    if "weather" not in checked or checked["weather"].typed.sheet.earlier.empty:
        return empty_weather()
    sheet = checked["weather"].typed.sheet
    return in_si_units(sheet.earlier, "weather", study, sheet.place.units)


def checked_table(sheets: Sequence[Sheet], context: Context) -> CheckedTable:
    """Type the sheets of a table, run every rule over all rows, and part those that stand."""
    mended = [corrected(sheet, context.corrections) for sheet in sheets]
    return replace(
        one := _checked(stacked([sheet.sheet for sheet in mended]), context),
        faults=(*one.faults, *(fault for sheet in mended for fault in sheet.faults)),
        corrections=tuple(line for sheet in mended for line in sheet.made),
    )


def _checked(sheet: Sheet, context: Context) -> CheckedTable:
    typed = typed_sheet(sheet, context.study, context.season)
    if not len(sheet.cells.columns):
        return _parted(typed, list(typed.problems), context.study)
    if sheet.table == "plots":
        typed = without_copies(typed)
    problems = [*typed.problems, *schema_problems(typed)]
    told = replace(typed, problems=tuple(problems))
    if sheet.table == "plots":
        problems += plot_problems(told, context)
    problems += cross_problems(told, context)
    return _parted(told, problems, context.study)


def _layout(plots: CheckedTable) -> Layout | None:
    usable = not plots.typed.sheet.broken and len(plots.typed.frame)
    return layout_of(plots.typed, plots.frame) if usable else None


def _parted(typed: Typed, problems: list[Problem], study: Study) -> CheckedTable:
    place, cells = typed.sheet.place, typed.sheet.cells
    faults = tuple(as_faults(problems, place, cells))
    if typed.sheet.broken:
        reason = _whole_table(place, typed.sheet.broken)
        return CheckedTable(blank_table_frame(place.table), faults, reason, typed)
    left_out = left_out_rows(problems, place, _all_rows(typed.sheet))
    frame = typed.frame
    if len(left_out):
        frame = frame.loc[~frame.index.isin(left_out["row"].tolist())]
        left_out = left_out.assign(row=[source_row(row) for row in left_out["row"]])
    return CheckedTable(_in_si(frame, place, study), faults, left_out, typed)


def _all_rows(sheet: Sheet) -> pd.DataFrame:
    """Cells of the sheet, those of rows that are no data among them."""
    if sheet.passed_over.empty:
        return sheet.cells
    return pd.concat([sheet.cells.astype("object"), sheet.passed_over])


def _whole_table(place: Place, reason: str) -> pd.DataFrame:
    row = [place.table, place.path, 0, "", "", "table_unusable", reason]
    return pd.DataFrame([row], columns=list(LEFT_OUT))


def _in_si(frame: pd.DataFrame, place: Place, study: Study) -> pd.DataFrame:
    """Convert to SI, file by file where they have units of their own."""
    if all(part.units == place.units for part in place.parts):
        return in_si_units(frame, place.table, study, place.units)
    of_part = [frame[frame.index // SHEET_STRIDE == at] for at in range(len(place.parts))]
    pairs = zip(of_part, place.parts, strict=True)
    return pd.concat([in_si_units(rows, place.table, study, part.units) for rows, part in pairs])


def in_si_units(
    frame: pd.DataFrame, table: str, study: Study, units: Mapping[str, str]
) -> pd.DataFrame:
    """Convert the columns of a table that have a quantity to SI, from ``units`` or the study's."""
    converted = {
        name: to_canonical(frame[name].to_numpy(), quantity, study.units, units.get(name))
        for (of_table, name), quantity in QUANTITY_OF_COLUMN.items()
        if of_table == table
    }
    return frame.assign(**converted)
