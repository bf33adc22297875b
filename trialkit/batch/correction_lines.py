"""Which lines of corrections.csv concern which site-season, so that one line renders one report."""

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Final

from trialkit.batch.files import digest
from trialkit.batch.words import ABSENT

_FILLED: Final = ("file", "column", "was", "now", "who", "when", "why")
_CELL: Final = ("file", "row", "key", "column")
Place = tuple[int, str]
Line = tuple[int, dict[str, str]]


def corrections_by_place(path: Path, places: Iterable[Place]) -> Mapping[Place, str]:
    """Return, for each site-season, a checksum of the lines that can reach its report.

    These are the lines on its own files, and every line that is not plainly on the files of
    another: a line that cannot be used is told in every report. A file that is no table as
    trialkit writes it counts whole.
    """
    places = tuple(places)
    if not path.is_file():
        return dict.fromkeys(places, ABSENT)
    content = path.read_bytes()
    lines = _lines(content)
    if lines is None:
        return dict.fromkeys(places, digest(content))
    owners = _owners(lines, places)
    shared = [line for line, owner in zip(lines, owners, strict=True) if owner is None]
    own: dict[Place, list[Line]] = {place: [] for place in places}
    for line, owner in zip(lines, owners, strict=True):
        if owner is not None:
            own[owner].append(line)
    return {place: digest(json.dumps([shared, own[place]]).encode()) for place in places}


def _lines(content: bytes) -> list[Line] | None:
    """Lines with their number, or None where the file is not plain UTF-8 with commas."""
    try:
        text = content.decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error):
        return None
    header = [name.strip() for name in rows[0]] if rows else []
    if not {*_FILLED, *_CELL} <= {*header} or len({*header}) < len(header):
        return None
    widths = {len(row) for row in rows[1:] if row}
    if not widths <= {len(header)}:
        return None
    return [
        (number, dict(zip(header, (cell.strip() for cell in row), strict=True)))
        for number, row in enumerate(rows[1:], 2)
        if any(cell.strip() for cell in row)
    ]


def _owners(lines: list[Line], places: tuple[Place, ...]) -> list[Place | None]:
    """The site-season of each line; None: every one, because the line is or may be at fault."""
    of_folder = {f"data/{season}/{site}": (season, site) for season, site in places}
    times = Counter(_cell(line) for _, line in lines)
    return [
        of_folder.get("/".join(_file(line).split("/")[:3]))
        if _can_be_used(line) and times[_cell(line)] == 1
        else None
        for _, line in lines
    ]


def _file(line: Mapping[str, str]) -> str:
    return line["file"].replace("\\", "/")


def _cell(line: Mapping[str, str]) -> tuple[str, ...]:
    return _file(line), *(line[name].casefold() for name in _CELL[1:])


def _can_be_used(line: Mapping[str, str]) -> bool:
    row = line["row"]
    sound = not row or (row.isascii() and row.isdigit() and len(row) < 10)
    filled = all(line[name] for name in _FILLED if name not in ("was", "now"))
    return sound and filled and bool(row or line["key"])
