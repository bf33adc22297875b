"""Slips of the pen in the typed sheets, each with the line of corrections.csv that mends it.

What was drawn is never touched: a sheet with a slip, read with its correction, is the sheet that
was drawn.
"""

from collections.abc import Callable, Iterable, Mapping
from types import SimpleNamespace
from typing import Final

import pandas as pd

from trialkit.simulate.sheets import Tables
from trialkit.simulate.truth import Truth

COLUMNS: Final = ("file", "row", "key", "column", "was", "now", "code", "who", "when", "why")
_POUNDS_IN_A_KILOGRAM: Final = 2.2046


def _point_one_place_off(text: str) -> str:
    return f"{float(text) * 10:g}"


def _last_digit_twice(text: str) -> str:
    return text + text[-1]


def _kilograms_for_pounds(text: str) -> str:
    return f"{float(text) / _POUNDS_IN_A_KILOGRAM:.2f}"


SLIPS: Final[Mapping[str, Callable[[str], str]]] = {
    "point_one_place_off": _point_one_place_off,
    "last_digit_twice": _last_digit_twice,
    "kilograms_for_pounds": _kilograms_for_pounds,
}


def with_mistakes(tables: Tables, mistakes: Iterable[SimpleNamespace]) -> Tables:
    """Return the tables of a site-season as typed; raises ValueError where a row is not found."""
    typed = dict(tables)
    for mistake in mistakes:
        table = typed[mistake.table].copy()
        at = _row(table, mistake)
        slip = SLIPS[mistake.slip](f"{table[mistake.column].iloc[at]}")
        kind = table[mistake.column].dtype.type
        table.loc[table.index[at], mistake.column] = kind(slip)
        typed[mistake.table] = table
    return typed


def corrections(truth: Truth, drawn: Mapping[tuple[int, str], Tables]) -> pd.DataFrame:
    """Return corrections.csv: a line for each mistake in the tables as ``drawn``."""
    return pd.DataFrame(
        [_line(one, drawn[one.season, one.site][one.table], truth) for one in truth.mistakes],
        columns=list(COLUMNS),
    )


def _line(mistake: SimpleNamespace, table: pd.DataFrame, truth: Truth) -> dict[str, object]:
    at = _row(table, mistake)
    now = f"{table[mistake.column].iloc[at]}"
    kind = table[mistake.column].dtype.type
    folder = f"data/{mistake.season}/{mistake.site}"
    in_workbook = truth.places[mistake.season, mistake.site].workbook
    book = f"{mistake.site}_{mistake.season}.xlsx#{mistake.table}"
    return {
        "file": f"{folder}/{book if in_workbook else f'{mistake.table}.csv'}",
        "row": at + 2,  # below the header, counted from 1
        "column": mistake.column,
        "was": f"{kind(SLIPS[mistake.slip](now))}",
        "now": now,
        "who": mistake.who,
        "when": f"{mistake.when:%Y-%m-%d}",
        "why": mistake.why,
    }


def _row(table: pd.DataFrame, mistake: SimpleNamespace) -> int:
    """Position of the one row that a mistake names."""
    fits = pd.Series(True, index=table.index)
    for column, text in mistake.row.items():
        fits &= table[column].astype("str") == str(text)
    if fits.sum() != 1:
        raise ValueError(f"truth.toml: {mistake.row} names {fits.sum()} rows of {mistake.table}")
    return int(fits.to_numpy().argmax())
