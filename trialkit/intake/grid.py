"""A sheet before anyone knows what its columns mean: texts in rows and columns, as typed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

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


def used_values(cells: pd.Series) -> pd.Series:
    """Return the categories that occur in a categorical column."""
    return pd.Series(cells.cat.remove_unused_categories().cat.categories, dtype="str")


def by_value(cells: pd.Series, convert: Callable[[Sequence[str]], Any], missing: Any) -> pd.Series:
    """Convert each distinct text of a categorical column once and spread the results over rows."""
    slim = cells.cat.remove_unused_categories()
    values = np.asarray(convert(list(slim.cat.categories)))
    filled = np.append(values, np.array([missing], dtype=values.dtype))
    return pd.Series(filled[slim.cat.codes.to_numpy()], index=cells.index)
