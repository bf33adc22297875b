"""The package that a workbook is: looked through before it is opened, so that none takes too long.

A small file can unpack to gigabytes, claim millions of rows, or repeat one cell a billion times.
"""

import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final
from xml.parsers import expat

from trialkit.intake.problems import Problem

MAX_UNPACKED: Final = 400_000_000
MAX_PART: Final = 50_000_000  # bytes of a part that is neither a sheet nor its texts
MAX_CELLS: Final = 400_000  # as many as are read in some ten seconds
_CHUNK: Final = 1 << 20
_OVERLAP: Final = 64
_CELL: Final = re.compile(rb"<(?:\w+:)?(?:c|si)[ >/]")
_FORMULA: Final = re.compile(rb"<(?:\w+:)?f[ >/]")
_DECLARES: Final = re.compile(rb"<!(?:DOCTYPE|ENTITY)")
_DAMAGE: Final = (
    *(zipfile.BadZipFile, zlib.error, lzma.LZMAError),
    *(OSError, ValueError, NotImplementedError, RuntimeError, EOFError),
)
_REPEATED: Final = "number-{}-repeated"


@dataclass(frozen=True)
class Package:
    """What was found out: whether it is an open document, whether any cell holds a formula."""

    open_document: bool
    formulas: bool


def look_through(data: bytes) -> Package | Problem:
    """Look through the parts of a workbook, or return the problem that keeps it from being read."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            return _too_large(package) or _looked_through(package)
    # A damaged package raises errors of zip, its compressions, and the operating system.
    except _DAMAGE:
        return _why_no_package(data)


def unreadable(what: str) -> Problem:
    """Return the problem of a workbook that cannot be opened."""
    remedy = "Open it in a spreadsheet program and save it again as .xlsx"
    return Problem("unreadable", what, remedy, breaks=True)


def _why_no_package(data: bytes) -> Problem:
    if data[:4] == b"\xd0\xcf\x11\xe0":
        return unreadable("this is an old (.xls) or password-protected workbook")
    return unreadable("this is not a workbook, or it is damaged")


def _too_large(package: zipfile.ZipFile) -> Problem | None:
    unpacked = sum(item.file_size for item in package.infolist())
    if unpacked > MAX_UNPACKED:
        return _large(f"the workbook unpacks to {unpacked // 1_000_000} MB")
    aside = [i for i in package.infolist() if _is_xml(i.filename) and not _holds_cells(i.filename)]
    if any(item.file_size > MAX_PART for item in aside):
        return _large("a part of the workbook that holds no cells is over 50 MB")
    return None


def _large(what: str) -> Problem:
    remedy = "Save only the field sheets, one workbook a site and season, or each sheet as CSV"
    return Problem("too_large", what, remedy, breaks=True)


def _is_xml(name: str) -> bool:
    return name.casefold().endswith((".xml", ".rels"))


def _holds_cells(name: str) -> bool:
    bare = name.casefold()
    return "worksheets/" in bare or bare.endswith(("sharedstrings.xml", "content.xml"))


def _looked_through(package: zipfile.ZipFile) -> Package | Problem:
    open_document, cells, formulas = "content.xml" in package.namelist(), 0, False
    for name in filter(_is_xml, package.namelist()):
        for piece in _pieces(package, name):
            if _DECLARES.search(piece):
                return unreadable("the workbook declares entities, which no field sheet needs")
            if b"\0" in piece:
                return unreadable("a part of the workbook is not UTF-8 text")
            cells += len(_CELL.findall(piece, 0, len(piece) - _OVERLAP))
            formulas = formulas or bool(_FORMULA.search(piece))
        if cells > MAX_CELLS:
            return _large(f"the workbook has over {MAX_CELLS:,} cells")
    if open_document and _expands(package):
        return _large(f"a sheet reaches over {MAX_CELLS:,} cells")
    return Package(open_document, formulas)


def _pieces(package: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """Pieces of a part; each goes on a little into the next, and the last ends in blanks."""
    tail = b""
    with package.open(name) as part:
        while piece := part.read(_CHUNK):
            yield tail + piece
            tail = piece[-_OVERLAP:]
    yield tail + b" " * _OVERLAP


class _Reach:
    """Rows and columns that the filled cells of the sheets of an open document reach to."""

    def __init__(self) -> None:
        self.row = self.column = self.last_row = self.last_column = 0
        self.rows = 1
        self.too_far = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        bare = name.rpartition(":")[2]
        told = {key.rpartition(":")[2]: value for key, value in attributes.items()}
        if bare == "table":
            self.row = self.column = self.last_row = self.last_column = 0
        elif bare == "table-row":
            self.rows, self.column = _many(told, "rows"), 0
            self.row += self.rows
        elif bare in ("table-cell", "covered-table-cell"):
            self.column += _many(told, "columns")
            if "value-type" in told:
                self.last_row, self.last_column = self.row, max(self.last_column, self.column)
                self.too_far |= self.last_row * self.last_column > MAX_CELLS


def _many(told: dict[str, str], what: str) -> int:
    text = told.get(_REPEATED.format(what), "1")
    return int(text) if text.isdecimal() and len(text) < 12 else MAX_CELLS


def _expands(package: zipfile.ZipFile) -> bool:
    reach, parser = _Reach(), expat.ParserCreate()
    parser.StartElementHandler = reach.start
    try:
        with package.open("content.xml") as part:
            while (piece := part.read(_CHUNK)) and not reach.too_far:
                parser.Parse(piece, False)
    except expat.ExpatError:
        return False  # damaged text is told where the sheets are read
    return reach.too_far
