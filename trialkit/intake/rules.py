"""Rules that the pandera models state: ranges, whole numbers, cells that must be filled."""

from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Final, NamedTuple

import pandas as pd
import pandera.pandas as pa
from pandera.errors import SchemaErrors

from trialkit.intake.cells import Typed
from trialkit.intake.problems import Problem
from trialkit.intake.schemas import schema


class _Words(NamedTuple):
    code: str
    what: str
    remedy: str


_WORDS: Final = {
    "greater_than_or_equal_to(0)": _Words(
        "negative", "'{value}' is below zero", "Look at the field sheet and type what it says"
    ),
    "greater_than(0)": _Words(
        "not_positive", "'{value}' is not above zero", "Type the value, or empty the cell"
    ),
    "whole": _Words(
        "fractional", "'{value}' is not a whole number", "Counts are whole; type the count itself"
    ),
    "not_nullable": _Words("value_missing", "the cell is empty", "Fill it in, or delete the row"),
}
_UNSEEN: Final = _Words("invalid", "'{value}' does not fit this column", "Look at the field sheet")


def schema_problems(typed: Typed) -> Iterator[Problem]:
    """Validate a typed sheet against its model; a cell that is already told is not told again."""
    cases = _failure_cases(typed)
    told = {(p.column, row) for p in typed.problems for row in p.rows if p.blocks}
    for (column, check), rows in cases.items():
        fresh = [row for row in rows if (column, row) not in told]
        if fresh:
            words = _WORDS.get(check, _UNSEEN)
            yield Problem(words.code, words.what, words.remedy, fresh, column)


def _failure_cases(typed: Typed) -> dict[tuple[str, str], list[int]]:
    table = typed.sheet.table
    present = [name for name in typed.frame if name in typed.sheet.cells.columns]
    kept: dict[tuple[str, str], list[int]] = {}
    ruled = _ruled(table, tuple(present))
    if all(_surely_holds(column, typed.frame[name]) for name, column in ruled.items()):
        return kept
    try:
        _model(table, ruled).validate(typed.frame[list(ruled)], lazy=True, inplace=True)
    except SchemaErrors as errors:
        cases = errors.failure_cases
        for column, check, row in zip(cases["column"], cases["check"], cases["index"], strict=True):
            if not pd.isna(row):
                kept.setdefault((str(column), str(check)), []).append(int(row))
    return kept


def _surely_holds(column: pa.Column, cells: pd.Series) -> bool:
    """Say whether a column keeps its rules, at a small part of the cost of naming what breaks them.

    A rule that is not known here is left to the model itself.
    """
    missing = pd.isna(cells.array)
    if not column.nullable and missing.any():
        return False
    values = cells.array[~missing].to_numpy() if column.checks else missing
    for check in column.checks:
        least = check.statistics.get("min_value")
        if check.name == "greater_than_or_equal_to" and bool((values >= least).all()):
            continue
        if check.name == "greater_than" and bool((values > least).all()):
            continue
        if check.name == "whole" and bool((values % 1 == 0).all()):
            continue
        return False
    return True


@lru_cache(maxsize=256)
def _ruled(table: str, present: tuple[str, ...]) -> dict[str, pa.Column]:
    """Those columns of a sheet that have a rule beyond their type."""
    return {
        name: column
        for name, column in schema(table).columns.items()
        if name in present and (column.checks or not column.nullable)
    }


def _model(table: str, ruled: Mapping[str, pa.Column]) -> pa.DataFrameSchema:
    """The schema of a table, for some of its columns only.

    Made anew: the schema's own way of leaving columns out copies all of it, which takes longer
    than most sheets take to check.
    """
    model = schema(table)
    return pa.DataFrameSchema(dict(ruled), checks=model.checks, name=model.name)
