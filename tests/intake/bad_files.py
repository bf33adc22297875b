"""Bad files as bytes: torn, disguised, too large or hostile; each named for what is wrong.

``files`` replace or join those of the small study's folder; ``codes`` are those of every error and
question that must be told beside the rest. ``same`` tables must hold the same numbers as before.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from tests.intake.conftest import FILES
from tests.intake.packages import (
    book,
    ods,
    ods_book,
    ods_cell,
    ods_sheet,
    packed,
    repacked,
    with_part,
)

SHEET_1 = "xl/worksheets/sheet1.xml"
SCOUTING = FILES["scouting"]
BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Bad:
    name: str
    files: Mapping[str, bytes]
    codes: set[str]
    same: bool = False
    instead: bool = field(default=False)  # of all CSV files


def text(name: str, data: bytes, *codes: str, same: bool = False) -> Bad:
    return Bad(name, {"scouting.csv": data}, set(codes), same)


def xlsx(name: str, data: bytes, *codes: str, same: bool = False) -> Bad:
    return Bad(name, {"field.xlsx": data}, set(codes), same, True)


def open_document(name: str, data: bytes, *codes: str, same: bool = False) -> Bad:
    return Bad(name, {"field.ods": data}, set(codes), same, True)


def lines(*cells: str) -> bytes:
    return "".join(f"{line}\n" for line in cells).encode()


TEXTS = [
    text("utf_16_text", SCOUTING.encode("utf-16"), same=True),
    text("utf_16_without_a_mark", SCOUTING.encode("utf-16-le"), same=True),
    text("byte_order_mark", BOM + SCOUTING.encode(), same=True),
    text("old_macintosh_line_ends", SCOUTING.replace("\n", "\r").encode(), same=True),
    text("semicolons", SCOUTING.replace(",", ";").encode(), same=True),
    text("tabs", SCOUTING.replace(",", "\t").encode(), same=True),
    text("no_line_end_at_the_end", SCOUTING.rstrip().encode(), same=True),
    text("null_bytes_in_the_middle", SCOUTING.encode().replace(b"AB,", b"A\0B,"), "encoding"),
    text("bell_character", SCOUTING.encode().replace(b"windy", b"win\x07dy"), "encoding"),
    text("a_picture_called_csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)), "encoding"),
    text("a_workbook_called_csv", book(), "encoding"),
    text(
        "quotation_mark_never_closed", SCOUTING.encode().replace(b"AB,", b'"AB,', 1), "unreadable"
    ),
    text("only_a_header", SCOUTING.encode().splitlines()[0], same=False),
    text("only_blank_lines", b"\n\n\n"),
    text("one_word", b"scouting", "no_header"),
    text("web_page", b"<html><body>not found</body></html>", "no_header"),
    text("over_50_megabytes", SCOUTING.encode() + b"\n" * 50_000_001, "too_large"),
    text("a_hundred_thousand_columns", SCOUTING.encode() + b"," * 100_000, "too_large"),
    text(
        "year_of_a_thousand_ago",
        SCOUTING.replace("2026-06-15", "1026-06-15", 1).encode(),
        "impossible_date",
    ),
    text(
        "number_in_arabic_digits",
        SCOUTING.replace("adult,4", "adult,\u0664").encode(),
        "text_in_number",
    ),
    text(
        "right_to_left_mark_in_a_number",
        SCOUTING.replace("adult,4", "adult,\u202e4").encode(),
        "text_in_number",
    ),
    text(
        "zero_width_space_in_a_plot",
        SCOUTING.replace("06-05,101", "06-05,1\u200b01", 1).encode(),
        "unknown_plot",
    ),
    text(
        "full_width_digits", SCOUTING.replace("adult,4", "adult,\uff14").encode(), "text_in_number"
    ),
    text("hexadecimal_number", SCOUTING.replace("adult,4", "adult,0x4").encode(), "text_in_number"),
    text(
        "underscore_in_a_number",
        SCOUTING.replace("adult,4", "adult,1_4").encode(),
        "text_in_number",
    ),
    text("formula_as_text", SCOUTING.replace("adult,4", "adult,=2+2").encode(), "text_in_number"),
    text("link_as_text", SCOUTING.replace("adult,4", "adult,@SUM(A1)").encode(), "text_in_number"),
    text(
        "path_for_a_plot",
        SCOUTING.replace("06-05,101", "06-05,../../etc/passwd", 1).encode(),
        "unknown_plot",
    ),
    text(
        "markup_for_a_plot",
        SCOUTING.replace("06-05,101", "06-05,<script>", 1).encode(),
        "unknown_plot",
    ),
    text(
        "a_number_of_5000_digits",
        SCOUTING.replace("adult,4", f"adult,{'9' * 5000}").encode(),
        "text_in_number",
    ),
]

BOOKS = [
    xlsx("empty_file_called_xlsx", b"", "unreadable"),
    xlsx("text_called_xlsx", SCOUTING.encode(), "unreadable"),
    xlsx("password_protected_workbook", b"\xd0\xcf\x11\xe0" + b"\0" * 600, "unreadable"),
    xlsx("workbook_cut_in_half", book()[: len(book()) // 2], "unreadable"),
    xlsx("package_without_a_workbook", packed({"hello.txt": "hello"}), "unreadable"),
    xlsx("sheet_that_is_no_xml", repacked(book(), SHEET_1, lambda part: b"<<<"), "unreadable"),
    xlsx("sheet_cut_off", repacked(book(), SHEET_1, lambda part: part[:400]), "unreadable"),
    xlsx(
        "entities_that_explode",
        repacked(book(), SHEET_1, lambda p: b'<!DOCTYPE a [<!ENTITY b "c">]>' + p),
        "unreadable",
    ),
    xlsx(
        "sheet_in_utf_16",
        repacked(book(), SHEET_1, lambda part: part.decode().encode("utf-16")),
        "unreadable",
    ),
    xlsx(
        "half_a_million_cells",
        repacked(book(), SHEET_1, lambda p: p + b"<c />" * 500_000),
        "too_large",
    ),
    xlsx(
        "texts_without_end",
        with_part(book(), "xl/sharedStrings.xml", b"<si />" * 500_000),
        "too_large",
    ),
    xlsx(
        "sixty_megabytes_of_styles",
        repacked(book(), "xl/styles.xml", lambda p: p + b" " * 60_000_000),
        "too_large",
    ),
    xlsx(
        "cell_in_the_last_corner",
        book(lambda b: b["scouting"].__setitem__("XFD1048576", 1)),
        "too_large",
    ),
    xlsx(
        "formula_without_a_result",
        book(lambda b: b["scouting"].__setitem__("F2", "=2+2")),
        "formula",
    ),
    xlsx(
        "link_to_another_workbook",
        book(lambda b: b["scouting"].__setitem__("F2", "='[other.xlsx]a'!A1")),
        "formula",
    ),
    xlsx(
        "hidden_row",
        book(lambda b: setattr(b["scouting"].row_dimensions[3], "hidden", True)),
        "hidden",
        same=True,
    ),
    xlsx(
        "hidden_column",
        book(lambda b: setattr(b["scouting"].column_dimensions["G"], "hidden", True)),
        "hidden",
        same=True,
    ),
    xlsx(
        "hidden_sheet",
        book(lambda b: setattr(b["scouting"], "sheet_state", "veryHidden")),
        "hidden",
        same=True,
    ),
    xlsx("merged_counts", book(lambda b: b["scouting"].merge_cells("F2:F3")), "merged_cells"),
    xlsx("number_typed_as_text", book(lambda b: b["scouting"].__setitem__("F2", "4")), same=True),
    xlsx(
        "true_for_a_count", book(lambda b: b["scouting"].__setitem__("F2", True)), "text_in_number"
    ),
    xlsx(
        "spreadsheet_error_in_a_count",
        book(lambda b: b["scouting"].__setitem__("F2", "#DIV/0!")),
        "formula_error",
    ),
    xlsx("sheet_named_like_a_path", book(lambda b: setattr(b["scouting"], "title", "..scouting"))),
    xlsx(
        "sheet_with_a_right_to_left_mark",
        book(lambda b: setattr(b["scouting"], "title", "\u202escouting")),
    ),
]

_LOADS = f' table:number-columns-repeated="{10**9}"'
_ROWS = f'table:number-rows-repeated="{10**7}"'
DOCUMENTS = [
    open_document("open_document_as_it_should_be", ods_book(), same=True),
    open_document("open_document_cut_in_half", ods_book()[:900], "unreadable"),
    open_document("open_document_of_no_xml", packed({"content.xml": "<<<"}), "unreadable"),
    open_document("open_document_without_tables", ods(""), same=False),
    open_document(
        "ten_million_rows",
        ods(ods_sheet("scouting", f"<table:table-row {_ROWS}>{ods_cell('x')}</table:table-row>")),
        "too_large",
    ),
    open_document(
        "a_billion_columns",
        ods(ods_sheet("scouting", f"<table:table-row>{ods_cell('x', _LOADS)}</table:table-row>")),
        "too_large",
    ),
    open_document(
        "rows_and_columns_without_end",
        ods(
            ods_sheet(
                "plots", f"<table:table-row {_ROWS}>{ods_cell('x', _LOADS)}</table:table-row>"
            )
        ),
        "too_large",
    ),
    open_document(
        "two_corners_far_apart",
        ods(
            ods_sheet(
                "scouting",
                f"<table:table-row>{ods_cell('x')}</table:table-row><table:table-row {_ROWS}>"
                "<table:table-cell/></table:table-row>"
                f"<table:table-row>{ods_cell('x')}</table:table-row>",
            )
        ),
        "too_large",
    ),
    open_document(
        "empty_rows_to_the_end_of_the_sheet",
        ods_book(
            lambda t: t.replace(
                "</table:table>",
                f"<table:table-row {_ROWS}>"
                '<table:table-cell table:number-columns-repeated="16384"/>'
                "</table:table-row></table:table>",
            )
        ),
        same=True,
    ),
    open_document(
        "open_document_formula_error",
        ods_book(lambda t: t.replace("<text:p>4<", "<text:p>#REF!<", 1)),
        "formula_error",
    ),
    open_document(
        "open_document_count_with_a_letter",
        ods_book(lambda t: t.replace("<text:p>12<", "<text:p>l2<", 1)),
        "text_in_number",
    ),
    open_document(
        "open_document_with_entities",
        packed({"content.xml": '<!DOCTYPE a [<!ENTITY b "c">]><a/>'}),
        "unreadable",
    ),
]

NAMES = [
    Bad("file_with_a_right_to_left_mark", {"\u202egnituocs.csv": SCOUTING.encode()}, set(), True),
    Bad("file_with_a_control_character", {"scout\x07ing.csv": SCOUTING.encode()}, set(), True),
    Bad("file_with_a_line_break_in_its_name", {"a\nb.csv": SCOUTING.encode()}, set(), True),
    Bad("two_files_differing_in_capitals", {"Scouting.csv": SCOUTING.encode()}, set(), True),
    Bad("old_workbook_beside", {"more.xls": b"\xd0\xcf\x11\xe0"}, {"unknown_file"}, True),
]
BAD = [*TEXTS, *BOOKS, *DOCUMENTS, *NAMES]
