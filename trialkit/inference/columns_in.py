"""Reading the columns of a frame that came from outside: which exist, and what they hold."""

import difflib
from collections.abc import Mapping

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.labels import label_of

MISSING = "is missing"
_CELL = "Correct the cell, or leave it empty if the value is missing"


def check_columns(frame: object, names: Mapping[str, str]) -> None:
    """Raise AnalysisError unless ``frame`` is a frame with one column for each role named."""
    if not isinstance(frame, pd.DataFrame):
        raise AnalysisError(
            f"The data are a {type(frame).__name__}, not a table. Give a pandas DataFrame with one "
            "row per plot."
        )
    for role, name in names.items():
        _check_present(frame, role, name)
    _check_distinct(names)
    if frame.empty:
        raise AnalysisError("The table has no rows. Give one row per plot.")


def _check_present(frame: pd.DataFrame, role: str, name: str) -> None:
    found = [column for column in frame.columns if column == name]
    if len(found) > 1:
        raise AnalysisError(
            f"The table has {len(found)} columns named '{name}'. Rename all but one."
        )
    if found:
        return
    columns = [str(column) for column in frame.columns]
    near = difflib.get_close_matches(str(name), columns, n=1, cutoff=0.6)
    hint = f"Did you mean '{near[0]}'?" if near else f"The columns are: {', '.join(columns)}."
    raise AnalysisError(f"The table has no column '{name}', named as {role}. {hint}")


def _check_distinct(names: Mapping[str, str]) -> None:
    for role, name in names.items():
        others = [other for other, value in names.items() if value == name and other != role]
        if others:
            raise AnalysisError(
                f"Column '{name}' is named both as {role} and as {others[0]}. "
                "Each part of the design needs a column of its own."
            )


def factor_column(column: pd.Series) -> pd.Series:
    """Return the labels of a factor as an object series, None where the cell is empty."""
    return pd.Series(labels_in(column), index=column.index, dtype=object)


def labels_in(column: pd.Series) -> np.ndarray:
    """Return the labels of a factor as text (n,), None where the cell is empty."""
    labels = np.empty(len(column), dtype=object)
    labels[:] = [label_of(value) for value in column.to_numpy(dtype=object)]
    return labels


def number_column(column: pd.Series, role: str) -> pd.Series:
    """Return floats, NaN where empty; text, dates and infinities raise AnalysisError."""
    if pd.api.types.is_datetime64_any_dtype(column.dtype):
        raise AnalysisError(f"Column '{column.name}' holds dates, but {role} needs numbers.")
    if isinstance(column.dtype, np.dtype) and column.dtype.kind in "fiu":
        numbers = column.astype(float)
        refuse_values(numbers, np.isinf(numbers.to_numpy()), "is infinite", _CELL)
        return numbers
    blank = np.array(
        [label_of(value) is None for value in column.to_numpy(dtype=object)], dtype=bool
    )
    converted = pd.to_numeric(column.mask(blank), errors="coerce")
    numbers = pd.Series(np.asarray(converted, dtype=float), index=column.index, name=column.name)
    bad = numbers.isna().to_numpy() & ~blank
    if bad.any():
        raise _value_error(column, bad, f"is text where {role} needs a number", _CELL)
    refuse_values(numbers, np.isinf(numbers.to_numpy()), "is infinite", _CELL)
    return numbers


def _value_error(column: pd.Series, bad: np.ndarray, what: str, remedy: str) -> AnalysisError:
    """Return the error that names the column, the first faulty value, its row and the remedy."""
    where = int(np.flatnonzero(bad)[0])
    value, row, more = column.iloc[where], column.index[where], int(bad.sum()) - 1
    also = f" (and {more} more)" if more else ""
    return AnalysisError(f"Column '{column.name}', row {row}: '{value}' {what}{also}. {remedy}.")


def refuse_values(column: pd.Series, bad: pd.Series | np.ndarray, what: str, remedy: str) -> None:
    """Raise AnalysisError naming the first value of ``column`` for which ``bad`` holds, if any."""
    flags = np.asarray(bad, dtype=bool)
    if flags.any():
        raise _value_error(column, flags, what, remedy)
