"""From typed texts to dates and numbers: what cannot be read is named, nothing is guessed."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd
from pandas.api.extensions import ExtensionArray

from trialkit.intake.dates import DateReading, read_dates
from trialkit.intake.grid import (
    categorical,
    columns_of,
    spread_over_rows,
    texts_of,
    used_values,
    words_of,
)
from trialkit.intake.header import Sheet
from trialkit.intake.problems import Problem, rows_where
from trialkit.intake.schemas import column_names, if_empty, type_of
from trialkit.study import Season, Study

_NUMBER: Final = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_COMMA: Final = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_THOUSANDS: Final = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d*)?", re.ASCII)
_LEADING: Final = re.compile(r"[+-]?\d+(\.\d*)?", re.ASCII)
_LOOKALIKES: Final = str.maketrans("OoIlSB−–", "001158--")
# Spreadsheet and instrument habits for "no value"; study.toml may declare others.
_CODES: Final = frozenset(
    [
        *("n/a", "na", "nan", "null", "none", "nil", "nd", "missing", "unknown", "x", "xx"),
        *(".", "..", "-", "--", "---", "–", "—", "?", "??"),
    ]
)
_ERRORS: Final = ("#REF!", "#DIV/0!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#N/A")
_CODE_NUMBERS: Final = frozenset((-99.0, -999.0, -9999.0, -99999.0, 999.0, 9999.0, 99999.0))
_FREE_TEXT: Final = ("note", "observer", "item", "unit")
# A positive code is taken for a real number where others in the column come this close to it.
_PLAUSIBLE: Final = 0.5


@dataclass(frozen=True)
class Typed:
    """A sheet as typed, its typed columns (missing where a cell is no value), and its problems.

    ``cells`` are those of the sheet without codes for a missing value, row by row as in ``frame``.
    """

    sheet: Sheet
    frame: pd.DataFrame
    problems: tuple[Problem, ...]
    cells: pd.DataFrame

    def words(self, name: str) -> set[str]:
        """Return the distinct texts of a column; a rule that none breaks need not look at rows."""
        return set(used_values(self.cells[name])) if name in self.cells else set()

    def pairs(self, one: str, other: str) -> set[tuple[str | None, str | None]]:
        """Return each text of one column beside each of the other that shares a row with it."""
        (codes, words), (beside, others) = self._numbered(one), self._numbered(other)
        found = pd.unique((codes + 1) * (len(others) + 1) + beside + 1)
        both = (divmod(int(at), len(others) + 1) for at in found)
        first, second = [None, *words], [None, *others]
        return {(first[at], second[to]) for at, to in both}

    def key(self, names: Sequence[str]) -> np.ndarray:
        """Return a number for every row; rows alike in all these columns share theirs."""
        key = np.zeros(len(self.frame), dtype=np.int64)
        for name in names:
            codes, words = self._numbered(name)
            key = key * (len(words) + 1) + codes + 1
        return key

    def _numbered(self, name: str) -> tuple[np.ndarray, list[str]]:
        """The number of each row's value, -1 for none, and the texts by these numbers."""
        if self.frame[name].dtype.kind in "Mf":
            codes, found = pd.factorize(self.frame[name].to_numpy())
            return codes, [str(value) for value in found]
        if name not in self.cells:
            return np.full(len(self.cells), -1), []
        column = self.cells[name].array
        return column.codes.astype(np.int64), texts_of(column)


def typed_sheet(sheet: Sheet, study: Study, season: Season | None) -> Typed:
    """Read every cell of a sheet; columns that the sheet does not have come out missing."""
    cells, problems = _without_codes(sheet, study)
    columns: dict[str, np.ndarray | ExtensionArray] = {}
    for name in column_names(sheet.table):
        kind = type_of(sheet.table, name)
        if name not in cells.columns:
            columns[name] = _absent(len(cells), kind)
            continue
        if kind is float:
            columns[name], found = _numbers(cells[name], name)
        elif kind is pd.Timestamp:
            columns[name], found = _dates(cells[name], name, season)
        else:
            columns[name], found = words_of(cells[name].array), []
        problems += found
    frame = pd.DataFrame(columns, index=cells.index, copy=False)
    return Typed(
        sheet,
        frame,
        (*sheet.problems, *problems, *_empty_cells(replace(sheet, cells=cells), problems)),
        cells,
    )


def _absent(rows: int, kind: type) -> np.ndarray | ExtensionArray:
    if kind is str:
        return words_of(categorical(np.full(rows, -1), ()))
    if kind is pd.Timestamp:
        return np.full(rows, np.datetime64("NaT", "ns"))
    return np.full(rows, np.nan)


def _without_codes(sheet: Sheet, study: Study) -> tuple[pd.DataFrame, list[Problem]]:
    """Empty the declared missing codes; undeclared ones are problems and become empty too."""
    cells = sheet.cells
    problems: list[Problem] = []
    declared = _Declared(study.missing_codes)
    for name, column in columns_of(cells).items():
        texts = texts_of(column)
        emptied = [text for text in texts if text in declared]
        suspects = [] if name in _FREE_TEXT else [t for t in texts if looks_missing(t)]
        undeclared = [text for text in suspects if text not in declared]
        numeric = type_of(sheet.table, name) is float
        undeclared, asked = _split(undeclared, texts, numeric=numeric) if undeclared else ([], [])
        failed = [] if name in _FREE_TEXT else [t for t in texts if t in _ERRORS]
        gone = {*emptied, *undeclared, *failed}
        problems += _code_problems(cells[name], name, undeclared, asked)
        problems += _failed_formulas(cells[name], name, failed)
        if gone:
            cells = cells.assign(**{name: cells[name].cat.remove_categories(sorted(gone))})
    return cells, problems


class _Declared:
    """The missing codes of study.toml; a number matches however many decimals it is typed with."""

    def __init__(self, codes: Sequence[str]) -> None:
        self.texts = {code.strip() for code in codes}
        self.numbers = {float(text) for text in self.texts if _NUMBER.fullmatch(text)}

    def __contains__(self, text: str) -> bool:
        if text in self.texts:
            return True
        return bool(self.numbers and _NUMBER.fullmatch(text) and float(text) in self.numbers)


# Few texts are new: a count, a label or a weight comes back in every sheet.
@lru_cache(maxsize=16_384)
def looks_missing(text: str) -> bool:
    """Say whether a text is a usual sign, word or number for "no value"."""
    if text.casefold() in _CODES:
        return True
    return bool(_NUMBER.fullmatch(text)) and float(text) in _CODE_NUMBERS


def _split(suspects: list[str], texts: list[str], *, numeric: bool) -> tuple[list[str], list[str]]:
    """Codes that cannot be values, and numbers that the rest of the column makes plausible."""
    if not numeric:
        return [t for t in suspects if not _NUMBER.fullmatch(t) or float(t) < 0], []
    others = [float(t) for t in texts if _NUMBER.fullmatch(t) and float(t) not in _CODE_NUMBERS]
    largest = max(others, default=0.0)
    asked = [t for t in suspects if _NUMBER.fullmatch(t) and 0 < float(t) * _PLAUSIBLE <= largest]
    return [text for text in suspects if text not in asked], asked


def _code_problems(
    cells: pd.Series, name: str, undeclared: list[str], asked: list[str]
) -> Iterator[Problem]:
    if undeclared:
        yield Problem(
            "missing_code",
            "'{value}' looks like a code for a missing value",
            'Empty the cell, or declare the code in study.toml: missing_codes = ["{value}"]',
            rows_where(cells.isin(undeclared)),
            name,
        )
    if asked:
        yield Problem(
            "missing_code",
            "'{value}' may be a code for a missing value; it was read as a number",
            "Empty the cell if nothing was measured",
            rows_where(cells.isin(asked)),
            name,
            "question",
        )


def _failed_formulas(cells: pd.Series, name: str, texts: list[str]) -> Iterator[Problem]:
    if texts:
        yield Problem(
            "formula_error",
            "the cell shows the spreadsheet's error '{value}'",
            "Mend the formula, or type the value",
            rows_where(cells.isin(texts)),
            name,
        )


def _numbers(cells: pd.Series, name: str) -> tuple[np.ndarray, list[Problem]]:
    values = {text: number(text) for text in used_values(cells)}
    wrong = {text: _why_no_number(text) for text, value in values.items() if value is None}
    numbers = np.array(list(values.values()), dtype="float64")
    return spread_over_rows(cells, list(values), numbers), list(_by_code(cells, name, wrong))


@lru_cache(maxsize=16_384)
def number(text: str) -> float | None:
    """Return the number that a text is, or None; words such as "inf" and "nan" are none.

    >>> number("1.50"), number("1,5"), number("12 lb")
    (1.5, None, None)
    """
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text)
    return value if np.isfinite(value) else None


def lookalike_number(text: str) -> str | None:
    """Return a number typed with letters for digits as it was meant, or None.

    >>> lookalike_number("1O.5"), lookalike_number("12 lb"), lookalike_number("O")
    ('10.5', None, '0')
    """
    meant = text.translate(_LOOKALIKES)
    return meant if meant != text and number(meant) is not None else None


def text_code(text: str) -> bool:
    """Say whether a text is a common word or sign for "no value", and not a number."""
    return text.casefold() in _CODES


def _why_no_number(text: str) -> tuple[str, str, str]:
    """Code, what and remedy for a text in a column of numbers."""
    if _THOUSANDS.fullmatch(text):
        plain, decimal = text.replace(",", ""), text.replace(",", ".", 1)
        meant = f"{plain} or {decimal}" if number(decimal) is not None else plain
        return "decimal_comma", f"'{text}' has a comma", f"Type {meant}, whichever is meant"
    if _COMMA.fullmatch(text):
        return "decimal_comma", f"'{text}' has a decimal comma", f"Type {text.replace(',', '.')}"
    lookalike = text.translate(_LOOKALIKES)
    if number(lookalike) is not None:
        what = f"'{text}' is not a number: a letter or sign stands for a digit"
        return "text_in_number", what, f"Type {lookalike} if that is meant"
    leading = _LEADING.match(text)
    if leading:
        what = f"'{text}' is a number with text"
        return (
            "text_in_number",
            what,
            f"Type {leading[0]} alone if that is meant, in the sheet's unit",
        )
    return "text_in_number", f"'{text}' is not a number", "Type a number, or empty the cell"


def _dates(cells: pd.Series, name: str, season: Season | None) -> tuple[np.ndarray, list[Problem]]:
    texts = used_values(cells)
    readings = dict(zip(texts, read_dates(texts, season), strict=True))
    wrong = {t: (r.code, r.what, r.remedy) for t, r in readings.items() if r.date is None}
    problems = [*_by_code(cells, name, wrong), *_other_forms(cells, name, readings)]
    dates = np.array([reading.date for reading in readings.values()], dtype="datetime64[D]")
    return spread_over_rows(cells, texts, dates.astype("datetime64[ns]")), problems


def _other_forms(
    cells: pd.Series, name: str, readings: dict[str, DateReading]
) -> Iterator[Problem]:
    texts = [text for text, reading in readings.items() if reading.other_form]
    if texts:
        rows = rows_where(cells.isin(texts))
        typed = str(cells.loc[rows[0]])
        many = f"{len(rows)} dates are" if rows[1:] else "a date is"
        yield Problem(
            "date_format",
            f"{many} not written year-month-day; '{typed}' was read as {readings[typed].date}",
            "Nothing needs doing if that is right; year-month-day can be read in one way only",
            rows[:1],
            name,
            "note",
        )


def _by_code(
    cells: pd.Series, name: str, wrong: dict[str, tuple[str, str, str]]
) -> Iterator[Problem]:
    for code in sorted({reason[0] for reason in wrong.values()}):
        texts = [text for text, reason in wrong.items() if reason[0] == code]
        mask = cells.isin(texts)
        hit = [wrong[str(text)] for text in cells[mask]]
        yield Problem(
            code, [why[1] for why in hit], [why[2] for why in hit], rows_where(mask), name
        )


def _empty_cells(sheet: Sheet, problems: list[Problem]) -> Iterator[Problem]:
    """Cells that must be filled and are not; a cell with another problem is not told twice."""
    for name, column in columns_of(sheet.cells).items():
        severity = if_empty(sheet.table, name)
        missing = column.codes < 0
        if not severity or not missing.any():
            continue
        told = {row for p in (*problems, *sheet.problems) if p.column == name for row in p.rows}
        empty = [row for row in sheet.cells.index[missing].tolist() if row not in told]
        if empty:
            yield Problem(
                "value_missing",
                f"'{name}' is empty" if severity == "error" else f"no {name} was typed",
                f"Fill it in, or delete the row if there was no {name}",
                empty,
                name,
                "note" if severity == "note" else "error",
                leaves_out=True,
                once=severity == "note",
            )
