"""CSV files: bytes in, a grid out; encoding and delimiter are found and said."""

import io
import re
import warnings
from collections.abc import Collection, Iterator
from typing import Final

import numpy as np
import pandas as pd

from trialkit.intake.grid import (
    Grid,
    broken_grid,
    empty_grid,
    grid_of_columns,
    grid_of_texts,
    numbered,
)
from trialkit.intake.problems import Problem

DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar"}
MAX_BYTES: Final = 50_000_000
MAX_COLUMNS: Final = 5_000
_CONTROL: Final = re.compile("[\x00-\x08\x0e-\x1f\x7f\x80-\x9f]")
_CONTROL_BYTES: Final = bytes(code for code in range(128) if _CONTROL.match(chr(code)))


def grid_of_text(data: bytes, known: Collection[str]) -> Grid:
    """Read a delimited file; ``known`` column names help to find the delimiter."""
    if not data.strip():
        return empty_grid()
    if len(data) > MAX_BYTES:
        return broken_grid("too_large", "the file is over 50 MB", "Split it by season and site")
    text, problems = decoded(data)
    if text is None:
        return Grid(pd.DataFrame(), problems)
    delimiter = delimiter_of(text, known)
    if delimiter != ",":
        problems += (_other_delimiter(delimiter),)
    return _parsed(text, delimiter, problems)


def decoded(data: bytes) -> tuple[str | None, tuple[Problem, ...]]:
    """Return the text and notes about its encoding, or None and what is wrong."""
    if data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0":
        return None, (_not_text("this is a workbook under the name of a CSV file"),)
    for encoding, name in _candidates(data):
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        if _has_control(text):
            break
        return text, () if encoding == "utf-8-sig" else (_other_encoding(name),)
    return None, (_not_text("the file holds bytes that are not text in any usual encoding"),)


def _has_control(text: str) -> bool:
    """Say whether signs that no text holds occur; plain ASCII, the usual case, is told sooner."""
    if text.isascii():
        return len(text.encode().translate(None, _CONTROL_BYTES)) < len(text)
    return _CONTROL.search(text) is not None


def _candidates(data: bytes) -> list[tuple[str, str]]:
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return [("utf-16", "UTF-16")]
    if b"\0" in data[:200]:
        high_first = data[:200:2].count(0) > data[1:200:2].count(0)
        return [("utf-16-be" if high_first else "utf-16-le", "UTF-16")]
    return [("utf-8-sig", "UTF-8"), ("cp1252", "Windows-1252")]


def _not_text(what: str) -> Problem:
    remedy = "Open it in a spreadsheet program and save it as CSV UTF-8"
    return Problem("encoding", what, remedy, breaks=True)


def _other_encoding(name: str) -> Problem:
    return Problem(
        "encoding",
        f"the file is not UTF-8; it was read as {name}",
        "Look at letters with accents; save it as CSV UTF-8 if any is wrong",
        severity="note",
    )


def delimiter_of(text: str, known: Collection[str]) -> str:
    """Return the delimiter under which the first lines show the most known column names."""
    lines = [line for line in text[:20_000].splitlines() if line.strip()][:10]

    def score(delimiter: str) -> tuple[int, int]:
        names = [{_bare(cell) for cell in line.split(delimiter)} for line in lines]
        hits = max((len(cells & set(known)) for cells in names), default=0)
        return hits, max((line.count(delimiter) for line in lines), default=0)

    return max(DELIMITERS, key=score)


def _bare(cell: str) -> str:
    return cell.strip().strip('"').strip().casefold()


def _other_delimiter(delimiter: str) -> Problem:
    name = DELIMITERS[delimiter]
    return Problem(
        "delimiter",
        f"the cells are separated by a {name}, not a comma; the file was read that way",
        "Nothing needs doing; save it as comma-separated CSV to silence this",
        severity="note",
    )


def _parsed(text: str, delimiter: str, problems: tuple[Problem, ...]) -> Grid:
    counts = _delimiters(text, delimiter)
    width = int(counts.max()) + 1
    if width > MAX_COLUMNS:
        return broken_grid(
            "too_large",
            f"row {int(counts.argmax()) + 1} has {width} cells",
            "Take out what follows the last column of data",
            int(counts.argmax()) + 1,
        )
    if _is_plain(text, counts):
        grid = grid_of_columns(map(numbered, _split(text, delimiter, width)))
        return Grid(grid.cells, (*problems, *grid.problems))
    try:
        frame = _read(text, delimiter, width)
    except (ValueError, pd.errors.ParserWarning) as error:
        return broken_grid(
            "unreadable",
            f"the file cannot be read as a table ({_reason(error)})",
            "Look for a quotation mark that is opened and never closed",
        )
    grid = grid_of_texts(frame)
    odd_rows = [*_swallowed(grid.cells, delimiter), *_short_rows(text, counts)]
    return Grid(grid.cells, (*problems, *grid.problems, *odd_rows))


def _is_plain(text: str, counts: np.ndarray) -> bool:
    """Say whether each line is cut at its delimiters, all lines into equally many cells.

    Most files are; cutting them is a fraction of the work of a reader that knows quotation marks.
    """
    lines = counts[:-1] if text.endswith("\n") else counts
    every = bool(counts[0]) and bool((lines == counts[0]).all())
    return every and '"' not in text and "\r" not in text and not text.startswith("\ufeff")


def _split(text: str, delimiter: str, width: int) -> Iterator[list[str]]:
    """Return the cells of a plain file, column by column."""
    cells = text.removesuffix("\n").replace("\n", delimiter).split(delimiter)
    return (cells[column::width] for column in range(width))


def _read(text: str, delimiter: str, width: int) -> pd.DataFrame:
    with warnings.catch_warnings():
        # A quotation mark can join lines to a row that is wider than any of them; pandas warns
        # that it leaves the last cells of such a row out.
        warnings.simplefilter("error", pd.errors.ParserWarning)
        return pd.read_csv(
            io.StringIO(text),
            sep=delimiter,
            header=None,
            names=range(width),
            index_col=False,
            dtype=object,
            keep_default_na=False,
            na_values=[],
            skip_blank_lines=False,
        )


def _delimiters(text: str, delimiter: str) -> np.ndarray:
    """Number of delimiters in each line, in quotation marks or not."""
    signs = np.frombuffer(text.encode("utf-8", "surrogatepass"), dtype=np.uint8)
    is_end = signs == ord("\n")
    if "\r" in text:
        lone = (signs == ord("\r")) & ~np.append(is_end[1:], False)
        is_end |= lone
    places = np.flatnonzero(signs == ord(delimiter))
    ends = np.concatenate([[0], np.flatnonzero(is_end), [len(signs)]])
    return np.diff(np.searchsorted(places, ends))


def _short_rows(text: str, counts: np.ndarray) -> list[Problem]:
    """Rows with fewer cells than nearly all others: perhaps the file was cut off there."""
    if '"' in text:
        return []
    usual = np.bincount(counts).argmax()
    short = np.flatnonzero(counts < usual)
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n") if len(short) else []
    rows = [int(row) + 1 for row in short if lines[row].strip()]
    if not rows:
        return []
    what = "the row has fewer cells than the others"
    return [Problem("short_row", what, "Look whether it was cut off", rows, severity="question")]


def _reason(error: Exception) -> str:
    if isinstance(error, pd.errors.ParserWarning):
        return "a quotation mark joins lines to a row with more cells than any line has"
    return str(error).replace("Error tokenizing data. C error: ", "").strip().splitlines()[0]


def _swallowed(cells: pd.DataFrame, delimiter: str) -> list[Problem]:
    """Cells that hold whole lines: a quotation mark opened in one row and closed in a later one."""
    problems = []
    for column in cells.columns:
        texts = cells[column].cat.categories
        long = [text for text in texts if "\n" in text and text.count(delimiter) >= 2]
        if long:
            rows = [int(row) for row in cells.index[cells[column].isin(long)]]
            problems.append(
                Problem(
                    "open_quote",
                    "this cell holds several lines: a quotation mark opens and closes too late",
                    'Take the stray " out, so that every row stands on its own line',
                    rows,
                    int(column),
                )
            )
    return problems
