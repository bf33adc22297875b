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


def tidy_texts(frame: pd.DataFrame) -> tuple[pd.DataFrame, tuple[Problem, ...]]:
    """Trim every cell, make empty ones missing, and note where characters nobody sees were."""
    tidied, problems = {}, []
    for name in frame.columns:
        tidied[name], padded = _trimmed(frame[name])
        if padded:
            problems.append(_padded(int(str(name)), padded))
    return pd.DataFrame(tidied, index=frame.index), tuple(problems)


def _trimmed(cells: pd.Series) -> tuple[pd.Series, list[int]]:
    texts = [str(text) for text in cells.cat.categories]
    trimmed = [text.strip(_INVISIBLE) for text in texts]
    if trimmed == texts and "" not in texts:
        return cells, []
    codes = cells.cat.codes.to_numpy()
    new_codes, categories = pd.factorize(
        np.array([text or None for text in trimmed], dtype=object), use_na_sentinel=True
    )
    changed = np.array([a != b and b != "" for a, b in zip(texts, trimmed, strict=True)], bool)
    hit = (codes >= 0) & changed[codes] if len(changed) else np.zeros(len(codes), bool)
    taken = np.where(codes >= 0, new_codes[codes], -1) if len(new_codes) else codes
    values = pd.Categorical.from_codes(taken, pd.Index(categories, dtype="str"))
    return pd.Series(values, index=cells.index), [int(row) for row in cells.index[hit]]


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


def categorical(rows: Sequence[Sequence[str | None]], first_row: int = 1) -> pd.DataFrame:
    """Return texts in rows as a frame of categorical columns, index from ``first_row``."""
    frame = pd.DataFrame(list(rows), dtype=object)
    frame.index = pd.RangeIndex(first_row, first_row + len(frame))
    for name in frame.columns:
        codes, values = pd.factorize(frame[name].to_numpy(dtype=object), use_na_sentinel=True)
        frame[name] = pd.Categorical.from_codes(codes, pd.Index(values, dtype="str"))
    return frame
