"""A sheet before anyone knows what its columns mean: texts in rows and columns, as typed."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionArray

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

    ``frame`` holds texts (or missing) in object columns.
    """
    numbered = []
    for position in range(frame.shape[1]):
        texts = frame.iloc[:, position].to_numpy(dtype=object)
        numbered.append(pd.factorize(texts, use_na_sentinel=True))
    return grid_of_columns((codes, list(map(str, found))) for codes, found in numbered)


def numbered(texts: Sequence[str]) -> tuple[np.ndarray, list[str]]:
    """Return the number of each text among the distinct ones, and these, first seen first."""
    found = list(dict.fromkeys(texts))
    at = {text: number for number, text in enumerate(found)}
    return np.fromiter(map(at.__getitem__, texts), np.intp, len(texts)), found


def grid_of_columns(columns: Iterable[tuple[np.ndarray, list[str]]]) -> Grid:
    """Make a grid of columns, each given as the numbers of its rows' texts, and these texts.

    Number -1 is a missing cell. Each distinct text is looked at once.
    """
    cells, problems = {}, []
    for position, (codes, found) in enumerate(columns):
        cells[position], padded = _trimmed(codes, found)
        if len(padded):
            problems.append(_padded(position, (padded + 1).tolist()))
    rows = pd.RangeIndex(1, len(next(iter(cells.values()), ())) + 1)
    return Grid(pd.DataFrame(cells, index=rows, copy=False), tuple(problems))


def _trimmed(codes: np.ndarray, found: list[str]) -> tuple[pd.Categorical, np.ndarray]:
    """Trimmed texts as categories, and the positions of those that were padded."""
    trimmed = [text.strip(_INVISIBLE) for text in found]
    if trimmed == found and "" not in found:
        return categorical(codes, found), np.empty(0, dtype=np.intp)
    kept = list(dict.fromkeys(filter(None, trimmed)))
    at = {"": -1} | {text: number for number, text in enumerate(kept)}
    changed = [b != "" and a != b for a, b in zip(found, trimmed, strict=True)]
    # The last entries stand for code -1, a missing cell.
    spread = np.array([*map(at.__getitem__, trimmed), -1], dtype=np.intp)[codes]
    hit = np.array([*changed, False])[codes]
    return categorical(spread, kept), np.flatnonzero(hit)


def categorical(codes: np.ndarray, texts: Sequence[str]) -> pd.Categorical:
    """Return texts by their numbers; -1 is a missing one."""
    known = pd.Index(np.array(texts, dtype=object), dtype="str")
    return pd.Categorical.from_codes(codes, known, validate=False)


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


def columns_of(cells: pd.DataFrame) -> dict[Any, pd.Categorical]:
    """Return the columns of a sheet bare, as many steps over few rows need them."""
    return {name: column.array for name, column in cells.items()}


def texts_of(column: pd.Categorical) -> list[str]:
    """Return the distinct texts of a column by their numbers; one may have no row left."""
    return list(column.categories.to_numpy(dtype=object))


def words_of(column: pd.Categorical) -> ExtensionArray:
    """Return the text of each row, missing where the cell is empty."""
    return column.categories.array.take(column.codes, allow_fill=True)


def used_values(cells: pd.Series) -> list[str]:
    """Return the categories that occur in a categorical column, in their order."""
    texts, codes = texts_of(cells.array), cells.array.codes
    occurs = np.bincount(codes + 1, minlength=len(texts) + 1)[1:] > 0
    return texts if occurs.all() else [t for t, here in zip(texts, occurs, strict=True) if here]


def spread_over_rows(cells: pd.Series, texts: Sequence[str], values: np.ndarray) -> np.ndarray:
    """Return the value of each row's text; a float or a date, missing where the cell is empty.

    ``texts`` are those of :func:`used_values`, ``values`` one for each.
    """
    known = cells.array.categories
    at = np.arange(len(known))
    if len(texts) < len(known):
        at = known.get_indexer(pd.Index(np.array(texts, dtype=object)))
    missing = np.datetime64("NaT") if values.dtype.kind == "M" else np.nan
    of_code = np.full(len(known) + 1, missing, dtype=values.dtype)
    of_code[at] = values
    return of_code[cells.array.codes]
