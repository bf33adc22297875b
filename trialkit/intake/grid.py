"""A sheet before anyone knows what its columns mean: texts in rows and columns, as typed."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.problems import Problem

# Spaces that spreadsheets and web pages leave behind, and marks that nobody can see.
_INVISIBLE: Final = " \t\r\n\v\f\u00a0\u2007\u202f\u200b\u200c\u200d\u200e\u200f\u2060\ufeff"


@dataclass(frozen=True)
class Grid:
    """Cells of a sheet: categorical texts, columns 0, 1, ..., index spreadsheet rows from 1.

    ``problems`` name columns by position. Where one of them breaks the sheet, ``cells`` is empty.
    """

    cells: pd.DataFrame
    problems: tuple[Problem, ...] = ()


def empty_grid() -> Grid:
    """Return a grid of an empty file or sheet, which is no error: nothing was typed yet."""
    remedy = "Type the column names into the first row, and the data below"
    return Grid(pd.DataFrame(), (Problem("empty_file", "it is empty", remedy, severity="note"),))


def broken_grid(code: str, what: str, remedy: str, row: int = 0) -> Grid:
    """Return a grid without cells that carries the one problem that broke it."""
    problem = Problem(code, what, remedy, (row,) if row else (), breaks=True)
    return Grid(pd.DataFrame(), (problem,))


def grid_of_texts(frame: pd.DataFrame) -> Grid:
    """Make a grid of texts: trimmed, empty ones missing, a note where unseen characters were.

    ``frame`` holds texts (or missing) in object columns. Each distinct text is looked at once.
    """
    rows = pd.RangeIndex(1, len(frame) + 1)
    columns, problems = {}, []
    for position in range(frame.shape[1]):
        codes, padded = _trimmed(frame.iloc[:, position].to_numpy(dtype=object))
        columns[position] = pd.Series(codes, index=rows)
        if len(padded):
            problems.append(_padded(position, rows[padded].tolist()))
    return Grid(pd.DataFrame(columns, index=rows), tuple(problems))


def _trimmed(texts: np.ndarray) -> tuple[pd.Categorical, np.ndarray]:
    """Trimmed texts as categories, and the positions of those that were padded."""
    codes, found = pd.factorize(texts, use_na_sentinel=True)
    trimmed = [str(text).strip(_INVISIBLE) for text in found]
    merged, categories = pd.factorize(np.array([t or None for t in trimmed], dtype=object))
    changed = [b != "" and a != b for a, b in zip(found, trimmed, strict=True)]
    # The last entries stand for code -1, a missing cell.
    spread, hit = np.append(merged, -1)[codes], np.append(np.array(changed, bool), False)[codes]
    values = pd.Categorical.from_codes(spread, pd.Index(categories, dtype="str"), validate=False)
    return values, np.flatnonzero(hit)


def _padded(column: int, rows: list[int]) -> Problem:
    many = f"{len(rows)} cells have" if len(rows) > 1 else "a cell has"
    return Problem(
        "padded",
        f"{many} blanks before or after the entry; they were ignored",
        "Nothing needs doing; a dropdown list in the sheet keeps entries clean",
        rows[:1],
        column,
        "note",
    )


def used_values(cells: pd.Series) -> list[str]:
    """Return the categories that occur in a categorical column, in their order."""
    known, codes = cells.cat.categories, cells.array.codes
    occurs = np.bincount(codes + 1, minlength=len(known) + 1)[1:] > 0
    return [str(text) for text in known.to_numpy(dtype=object)[occurs]]


def spread_over_rows(cells: pd.Series, texts: Sequence[str], values: np.ndarray) -> pd.Series:
    """Return the value of each row's text; a float or a date, missing where the cell is empty.

    ``texts`` are those of :func:`used_values`, ``values`` one for each.
    """
    at = cells.cat.categories.get_indexer(pd.Index(np.array(texts, dtype=object)))
    missing = np.datetime64("NaT") if values.dtype.kind == "M" else np.nan
    of_code = np.full(len(cells.cat.categories) + 1, missing, dtype=values.dtype)
    of_code[at] = values
    return pd.Series(of_code[cells.array.codes], index=cells.index)
