"""Workbooks (xlsx): sheets in, grids out; merged, hidden and uncalculated cells are named."""

import datetime as dt
import io
import warnings
from collections.abc import Iterator
from typing import Any

import openpyxl
import pandas as pd
import python_calamine

from trialkit.intake.grid import Grid, broken_grid, empty_grid, grid_of_texts
from trialkit.intake.package import MAX_CELLS, look_through, unreadable
from trialkit.intake.problems import Problem


def grids_of_workbook(data: bytes) -> dict[str, Grid] | Problem:
    """Read every worksheet of a workbook, or return the problem that makes it unreadable."""
    package = look_through(data)
    if isinstance(package, Problem):
        return package
    if package.open_document:
        return _open_document(data)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            values = openpyxl.load_workbook(io.BytesIO(data), data_only=True)
            # Read once more only where a formula may stand without its result.
            twice = package.formulas
            formulas = openpyxl.load_workbook(io.BytesIO(data)) if twice else None
        return {
            sheet.title: _grid(sheet, formulas[sheet.title] if formulas else None)
            for sheet in values.worksheets
        }
    # openpyxl lets errors of zip, XML and its own descriptors through, of a dozen kinds.
    except Exception as error:
        return unreadable(f"the workbook cannot be opened ({type(error).__name__})")


def _open_document(data: bytes) -> dict[str, Grid] | Problem:
    """Read an .ods workbook; what is merged, hidden or not calculated cannot be told there."""
    try:
        book = python_calamine.CalamineWorkbook.from_filelike(io.BytesIO(data))
        return {title: _calamine_grid(book, title) for title in book.sheet_names}
    # calamine has one error class for all it cannot read, and panics reach here as others.
    except Exception as error:
        return unreadable(f"the workbook cannot be opened ({type(error).__name__})")


def _calamine_grid(book: Any, title: str) -> Grid:
    sheet = book.get_sheet_by_name(title)
    if (sheet.total_height + 1) * (sheet.total_width + 1) > MAX_CELLS:
        return broken_grid(
            "too_large",
            f"the sheet reaches to row {sheet.total_height} and column {sheet.total_width}",
            "Delete the empty rows and columns after the data",
        )
    rows = [[_as_text(value) for value in row] for row in sheet.to_python(skip_empty_area=False)]
    if not any(text for row in rows for text in row):
        return empty_grid()
    return grid_of_texts(pd.DataFrame(rows, dtype=object))


def _grid(sheet: Any, formulas: Any) -> Grid:
    if sheet.max_row * sheet.max_column > MAX_CELLS:
        return broken_grid(
            "too_large",
            f"the sheet reaches to row {sheet.max_row} and column {sheet.max_column}",
            "Delete the empty rows and columns after the data",
        )
    rows = [[_as_text(value) for value in row] for row in sheet.iter_rows(values_only=True)]
    merged = list(sheet.merged_cells.ranges)
    _fill_merged(rows, merged)
    if not any(text for row in rows for text in row):
        return empty_grid()
    grid = grid_of_texts(pd.DataFrame(rows, dtype=object))
    left = _not_calculated(formulas, grid.cells) if formulas is not None else ()
    odd = [*_merged(merged), *left, *_hidden(sheet)]
    return Grid(grid.cells, (*grid.problems, *odd))


def _as_text(value: Any) -> str | None:
    if value is None or value == "":
        return None
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ").removesuffix(" 00:00:00")
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return str(value)


def _fill_merged(rows: list[list[str | None]], merged: list[Any]) -> None:
    """Give every cell of a merged range its text, so that only the merging is at fault."""
    for area in merged:
        if area.min_row > len(rows):
            continue
        text = rows[area.min_row - 1][area.min_col - 1]
        for row in rows[area.min_row - 1 : area.max_row]:
            for column in range(area.min_col - 1, min(area.max_col, len(row))):
                row[column] = text


def _merged(merged: list[Any]) -> Iterator[Problem]:
    for area in sorted(merged, key=lambda area: (area.min_row, area.min_col)):
        yield Problem(
            "merged_cells",
            f"cells {area.coord} are merged, so only one of them holds a value",
            "Unmerge them and type the value into every row",
            list(range(area.min_row, area.max_row + 1)),
            area.min_col - 1,
        )


def _not_calculated(formulas: Any, cells: pd.DataFrame) -> Iterator[Problem]:
    for column in formulas.iter_cols():
        rows = [
            cell.row
            for cell in column
            if cell.data_type == "f" and _is_empty(cells, cell.row, cell.column - 1)
        ]
        if rows:
            yield Problem(
                "formula",
                "the cell holds a formula without a stored result",
                "Open the workbook in a spreadsheet program and save it, or type the value",
                rows,
                column[0].column - 1,
            )


def _is_empty(cells: pd.DataFrame, row: int, column: int) -> bool:
    return (
        row not in cells.index
        or column not in cells
        or not cells[column].notna().loc[row:row].any()
    )


def _hidden(sheet: Any) -> Iterator[Problem]:
    rows = [row for row, item in sheet.row_dimensions.items() if item.hidden]
    if rows:
        yield Problem(
            "hidden",
            f"{len(rows)} rows are hidden, row {rows[0]} first; they were read all the same",
            "Unhide them and look whether they belong to the data",
            rows[:1],
            severity="question",
        )
    columns = [name for name, item in sheet.column_dimensions.items() if item.hidden]
    if columns or sheet.sheet_state != "visible":
        what = f"column {columns[0]} is hidden" if columns else "the sheet is hidden"
        yield Problem(
            "hidden",
            f"{what}; it was read all the same",
            "Unhide it and look whether it belongs to the data",
            severity="question",
        )
