"""How a sheet is read: every entry of its mapping is a guess with the evidence for it."""

import datetime as dt
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from openpyxl.utils import get_column_letter

from trialkit.intake.cells import looks_missing, number
from trialkit.intake.dates import one_order
from trialkit.intake.draft.shape import Row, Shape, looks_like_date
from trialkit.intake.draft.words import tokens
from trialkit.intake.schemas import columns_of_type

_HEADING: Final = re.compile(r"(block|replication|replicate|rep|blk)\b[\s:.#]*\S{1,8}", re.I)
_COMMA: Final = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED: Final = re.compile(r"[+-]?\d{1,3}(,\d{3})+", re.ASCII)
_TWO_PARTS: Final = re.compile(r"(\d{1,2})[/.\- ](\d{1,2})[/.\- ](\d{4}|\d{2})", re.ASCII)
_REPEATED: Final = ("date", "plot", "block", "treatment")
_NOT_A_NAME: Final = (
    *("count", "counts", "counted", "scouting", "scout", "number", "numbers", "of", "per", "plant"),
    *("plants", "plot", "sheet", "data", "rating", "ratings", "score", "scores", "in", "on", "the"),
    *("weekly", "field", "no"),
)


@dataclass(frozen=True)
class Guess:
    """One entry of a mapping: its key, value and evidence; ``name`` is its key within a part."""

    key: str
    value: Any
    why: str
    name: str = ""

    @property
    def part(self) -> str:
        """The part of the mapping that the entry stands in, or empty."""
        return self.key if self.name else ""


def guesses(
    rows: Sequence[Row], shape: Shape, title: str, merged: Collection[int] = ()
) -> list[Guess]:
    """Return every entry that reads a sheet of this shape; ``merged`` columns have merged cells."""
    body = rows[shape.header_row :]
    return [
        _header(rows, shape),
        *_renamed(rows, shape),
        *_spread(rows, shape),
        *_named_by_title(rows, shape, title),
        *_headings(body, shape),
        *_filled_down(body, shape, merged),
        *_units(rows, shape),
        *_date_order(rows, shape),
        *_numbers(body, shape),
    ]


def _header(rows: Sequence[Row], shape: Shape) -> Guess:
    header = rows[shape.header_row - 1]
    names = ", ".join(str(header[position]) for position in shape.columns)
    why = f"row {shape.header_row} has usual names of columns: {names}"
    return Guess("header_row", shape.header_row, why)


def _renamed(rows: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    header = rows[shape.header_row - 1]
    for position, name in shape.columns.items():
        typed = str(header[position])
        if "_".join(typed.casefold().split()) != name:
            why = f"column {get_column_letter(position + 1)}; a usual name for {name}"
            yield Guess("rename", name, why, typed)


def _spread(rows: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    if not shape.side:
        return
    header = rows[shape.header_row - 1]
    listed = [str(header[position]) for position in shape.side]
    what = {"date": "a date", "plant": "a plant"}.get(shape.headers, "something that was counted")
    first, last = shape.side[0], shape.side[-1]
    span = f"{get_column_letter(first + 1)} to {get_column_letter(last + 1)}"
    why = f"{len(listed)} columns, {span}, are each headed by {what} and hold numbers"
    yield Guess("spread", shape.headers, why, "headers")
    told = f"what the cells of these columns are in {shape.table}"
    yield Guess("spread", shape.cells, told, "cells")
    if shape.headers != "date":
        yield Guess("spread", listed, "the headers of these columns", "columns")


def _named_by_title(rows: Sequence[Row], shape: Shape, title: str) -> Iterator[Guess]:
    """What no column tells: the one organism or rating of a sheet, or the grade."""
    asked = {"scouting": "organism", "ratings": "what", "harvest": "grade"}.get(shape.table)
    if asked is None or asked in {*shape.columns.values(), shape.headers}:
        return
    if asked == "grade":
        yield Guess("constant", "marketable", "no column tells the grade", "grade")
        return
    above = [str(text) for row in rows[: shape.header_row - 1] for text in row if text]
    for text in (*above, title):
        words = [w for w in tokens(text) if w not in _NOT_A_NAME and not w.isdigit()]
        if words:
            yield Guess("constant", "_".join(words), f"the title says '{text}'", asked)
            return
    fallback = "insect" if asked == "organism" else "damage"
    yield Guess("constant", fallback, "nothing tells what was looked at: put its name", asked)


def _headings(body: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    alone = [texts[0] for row in body if len(texts := [t for t in row if t]) == 1]
    blocks = [text for text in alone if _HEADING.fullmatch(text)]
    if blocks and "block" not in shape.columns.values():
        many = f"{len(blocks)} lines hold a block's name alone, '{blocks[0]}' first"
        yield Guess("heading", "block", many)


def _filled_down(body: Sequence[Row], shape: Shape, merged: Collection[int]) -> Iterator[Guess]:
    lines = [row for row in body if len([text for text in row if text]) > 1]
    told = {}
    for position, name in shape.columns.items():
        cells = [row[position] for row in lines]
        if name in _REPEATED and position in merged:
            told[name] = f"cells of {name} are merged"
        elif name in _REPEATED and cells and cells[0] and not all(cells) and _in_runs(cells):
            empty = sum(not cell for cell in cells)
            told[name] = (
                f"{empty} of {len(cells)} cells of {name} are empty, each below a filled one"
            )
    if told:
        yield Guess("fill_down", list(told), "; ".join(told.values()))


def _in_runs(cells: Sequence[str | None]) -> bool:
    """Say whether entries stand at the head of runs: at least a third of the cells are empty."""
    return sum(not cell for cell in cells) * 3 >= len(cells)


def _units(rows: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    header = rows[shape.header_row - 1]
    for position, unit in shape.units.items():
        why = f"the header says '{header[position]}'"
        yield Guess("units", unit, why, shape.columns[position])


def dates_of(rows: Sequence[Row], shape: Shape) -> list[str]:
    """Return every text of a sheet that seems to be a date, of headers or of a column."""
    header, body = rows[shape.header_row - 1], rows[shape.header_row :]
    if shape.headers == "date":
        texts = [str(header[position]) for position in shape.side]
    else:
        at = [position for position, name in shape.columns.items() if name == "date"]
        texts = [str(row[p]) for row in body for p in at if p < len(row) and row[p]]
    return [text for text in texts if looks_like_date(text)]


def _date_order(rows: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    parts = {t: m for t in dates_of(rows, shape) if (m := _TWO_PARTS.fullmatch(t))}
    if not parts:
        return
    day_first = [text for text, match in parts.items() if int(match[1]) > 12]
    month_first = [text for text, match in parts.items() if int(match[2]) > 12]
    if day_first and month_first:
        return
    if day_first:
        yield Guess("date_order", "day_first", f"'{day_first[0]}' can only be read so")
    elif month_first:
        yield Guess("date_order", "month_first", f"'{month_first[0]}' can only be read so")
    else:
        yield from _nearer_together(list(parts))


def _nearer_together(texts: list[str]) -> Iterator[Guess]:
    """The order under which the dates lie within half the time that the other order takes."""
    days = {order: _days(texts, order) for order in ("day_first", "month_first")}
    for order, other in (("day_first", "month_first"), ("month_first", "day_first")):
        if days[other] > 2 * max(days[order], 1):
            told = f"so all dates lie within {days[order]} days, and within {days[other]} otherwise"
            yield Guess("date_order", order, told)


def _days(texts: list[str], order: str) -> int:
    dates = sorted(dt.date.fromisoformat(one_order(text, order)) for text in texts)
    return (dates[-1] - dates[0]).days


def _numbers(body: Sequence[Row], shape: Shape) -> Iterator[Guess]:
    """Decimal commas and words for no value, among the cells that hold numbers."""
    numeric = columns_of_type(shape.table, float)
    at = [*shape.side, *(p for p, name in shape.columns.items() if name in numeric)]
    cells = [text for row in body for p in at if p < len(row) and (text := row[p])]
    commas = [text for text in cells if _COMMA.fullmatch(text) and not _GROUPED.fullmatch(text)]
    if commas and not any("." in text and number(text) is not None for text in cells):
        yield Guess("decimal_comma", True, f"{len(commas)} cells, such as '{commas[0]}'; no point")
    codes = {t: cells.count(t) for t in cells if looks_missing(t) and (number(t) or 0) <= 0}
    if codes:
        told = ", ".join(f"'{text}' {n} times" for text, n in codes.items())
        why = f"among numbers stand {told}; an emptied cell is no zero"
        yield Guess("missing_codes", list(codes), why)
