"""The shape of a sheet: its header row, the columns in it, and those that stand side by side."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from trialkit.columns import TABLES
from trialkit.intake.cells import looks_missing, number
from trialkit.intake.dates import read_dates, readings_of
from trialkit.intake.draft.words import column_of, may_be_counted, title_table
from trialkit.intake.header import bare_name
from trialkit.intake.schemas import column_names, required_columns

_HEADER_WITHIN: Final = 20
_PLANT: Final = re.compile(r"(plant|pl|p)?[\s.#_]*\d{1,2}", re.IGNORECASE)
_SHORT_DATE: Final = re.compile(r"\d{1,2}[/.\-]\d{1,2}[/.\-]\d{2}", re.ASCII)
_MOSTLY: Final = 0.6
Row = Sequence[str | None]


@dataclass(frozen=True)
class Shape:
    """What a sheet seems to be: table, header row, columns by position, those side by side.

    ``side`` are positions of columns whose headers become ``headers`` and whose cells ``cells``.
    """

    table: str
    header_row: int
    columns: dict[int, str] = field(default_factory=dict)
    units: dict[int, str] = field(default_factory=dict)
    side: tuple[int, ...] = ()
    headers: str = ""
    cells: str = ""
    score: int = 0


def looks_like_date(text: str) -> bool:
    """Say whether a text is a date in some usual form, in either order."""
    bare = text.strip()
    if _SHORT_DATE.fullmatch(bare) or readings_of(bare):
        return True
    return read_dates([bare], None)[0].date is not None


def shape_of(rows: Sequence[Row], title: str) -> Shape | None:
    """Return the likeliest shape of a sheet, or None where no row reads like a header."""
    found = [
        shape
        for at, row in enumerate(rows[:_HEADER_WITHIN])
        for table in TABLES
        if (shape := _as_table(table, at, row, rows[at + 1 :], title)) is not None
    ]
    return max(found, key=lambda shape: (shape.score, -shape.header_row), default=None)


def _as_table(table: str, at: int, row: Row, below: Sequence[Row], title: str) -> Shape | None:
    """The shape of a sheet as this table with its header in this row, where it can have it."""
    columns, units = _columns(table, row)
    left = [p for p, text in enumerate(row) if text and p not in columns]
    side, headers, cells = _side_by_side(table, row, left, below, title, columns)
    have = {*columns.values(), *((headers, cells) if side else ())}
    missing = set(required_columns(table)) - have - _TOLD_OTHERWISE.get(table, set())
    if missing or len(have) < 2 or (table == "plots" and not _lists_plots(row, columns, below)):
        return None
    hits = 2 * len(have & set(required_columns(table))) + len(have)
    score = hits + 3 * (table in title_table(title)) + 2 * (bare_name(title) == table)
    return Shape(table, at + 1, columns, units, side, headers, cells, score)


def _lists_plots(row: Row, columns: dict[int, str], below: Sequence[Row]) -> bool:
    """Say whether each plot stands in one row, as in a layout, and no visit has a date."""
    at = next((position for position, name in columns.items() if name == "plot"), 0)
    labels = [text for line in below if at < len(line) and (text := line[at])]
    dated = any(text and "date" in column_of(text, "scouting") for text in row)
    return len(set(labels)) == len(labels) > 1 and not dated


# What the title of a sheet can tell instead of a column, and what check asks for where it is lost.
_TOLD_OTHERWISE: Final = {
    "scouting": {"organism"},
    "ratings": {"what"},
    "harvest": {"grade"},
    "plots": {"block"},
}


def _columns(table: str, row: Row) -> tuple[dict[int, str], dict[int, str]]:
    columns: dict[int, str] = {}
    units: dict[int, str] = {}
    for position, text in enumerate(row):
        name, unit = _meaning(text, table) if text else ("", "")
        if name and name not in columns.values():
            columns[position] = name
            if unit:
                units[position] = unit
    return columns, units


def _meaning(text: str, table: str) -> tuple[str, str]:
    """Column and unit of a header; block and treatment beside a plot tell of its layout."""
    found = column_of(text, table)
    layout = column_of(text, "plots")
    beside = layout[0] in ("block", "treatment") and "plot" in column_names(table)
    return layout if not found[0] and beside else found


def _side_by_side(
    table: str,
    row: Row,
    left: Sequence[int],
    below: Sequence[Row],
    title: str,
    columns: dict[int, str],
) -> tuple[tuple[int, ...], str, str]:
    """Columns that become rows: dates, plants, or things counted or rated, each its own column."""
    cells = {"scouting": "count", "ratings": "score"}.get(table, "")
    has = set(columns.values())
    if not cells or cells in has or "plot" not in has:
        return (), "", ""
    texts = {p: str(row[p]) for p in left}
    dated = tuple(p for p in left if looks_like_date(texts[p]) and _numeric(below, p))
    if dated and "date" not in has:
        return dated, "date", cells
    plants = tuple(p for p in left if _PLANT.fullmatch(texts[p]) and _numeric(below, p))
    if len(plants) > 1 and table == "scouting" and "date" in has:
        return plants, "plant", cells
    things = tuple(p for p in left if may_be_counted(texts[p]) and _numeric(below, p))
    named = "what" if table == "ratings" else "organism"
    fits = table in title_table(title) or not title_table(title) or table == "scouting"
    return (things, named, cells) if things and "date" in has and fits else ((), "", "")


def _numeric(below: Sequence[Row], position: int) -> bool:
    """Say whether most entries under a header are numbers; none at all is no such column."""
    entries = [text for row in below if position < len(row) and (text := row[position])]
    texts = [text for text in entries if not looks_missing(text)]
    numbers = [text for text in texts if number(text.replace(",", ".")) is not None]
    return bool(texts) and len(numbers) >= _MOSTLY * len(texts)
