"""Workbooks made by hand, byte by byte, for what no spreadsheet program writes."""

import io
import zipfile
from collections.abc import Callable, Mapping

import openpyxl

from tests.intake.conftest import FILES

ODS_HEAD = (
    '<?xml version="1.0"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body>'
    "<office:spreadsheet>"
)
ODS_TAIL = "</office:spreadsheet></office:body></office:document-content>"
MANIFEST = (
    '<?xml version="1.0"?><manifest:manifest '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
)


def packed(parts: Mapping[str, str | bytes]) -> bytes:
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in parts.items():
            package.writestr(name, text)
    return data.getvalue()


def ods(tables: str) -> bytes:
    mimetype = "application/vnd.oasis.opendocument.spreadsheet"
    content = f"{ODS_HEAD}{tables}{ODS_TAIL}"
    return packed({"mimetype": mimetype, "content.xml": content, "META-INF/manifest.xml": MANIFEST})


def ods_cell(text: str, more: str = "") -> str:
    return (
        f'<table:table-cell office:value-type="string"{more}><text:p>{text}</text:p>'
        "</table:table-cell>"
    )


def ods_sheet(name: str, rows: str) -> str:
    return f'<table:table table:name="{name}">{rows}</table:table>'


def ods_of(text: str, name: str) -> str:
    """A sheet of an open document from the text of a CSV file."""
    rows = "".join(
        f"<table:table-row>{''.join(map(ods_cell, line.split(',')))}</table:table-row>"
        for line in text.splitlines()
    )
    return ods_sheet(name, rows)


def ods_book(change: Callable[[str], str] = lambda text: text) -> bytes:
    """The small study's tables as an open document, its text changed by ``change``."""
    return ods(change("".join(ods_of(text, table) for table, text in FILES.items())))


def book(change: Callable[[openpyxl.Workbook], None] = lambda book: None) -> bytes:
    """The small study's tables as a workbook, changed by ``change``."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for table, text in FILES.items():
        sheet = made.create_sheet(table)
        for line in text.splitlines():
            sheet.append([_typed(cell) for cell in line.split(",")])
    change(made)
    data = io.BytesIO()
    made.save(data)
    return data.getvalue()


def repacked(data: bytes, name: str, change: Callable[[bytes], bytes]) -> bytes:
    """A package in which one part is changed."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        parts = {item: package.read(item) for item in package.namelist()}
    return packed({item: change(part) if item == name else part for item, part in parts.items()})


def with_part(data: bytes, name: str, part: bytes) -> bytes:
    """A package with one part more."""
    with zipfile.ZipFile(io.BytesIO(data)) as package:
        return packed({n: package.read(n) for n in package.namelist()} | {name: part})


def _typed(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text or None
