"""Invented workbooks as people keep them, each of another shape, and the tidy rows they mean."""

import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd

LB, OZ = 0.45359237, 0.028349523125  # kg; exact by definition (NIST Handbook 44, appendix C)
Rows = list[list[Any]]


@dataclass(frozen=True)
class Book:
    """A workbook (rows of each sheet), its file name, and the rows that its tables must have.

    ``tables`` leads from a table to the columns compared and the rows; ``errors`` are the codes of
    errors that check must tell.
    """

    name: str
    sheets: dict[str, Rows]
    tables: dict[str, tuple[list[str], Rows]]
    text: str = ""
    check: str = "untreated"
    merged: dict[str, list[str]] = field(default_factory=dict)

    def write(self, folder: Path) -> Path:
        path = folder / self.name
        if self.text:
            path.write_bytes(self.text.encode("cp1252"))
        elif path.suffix == ".ods":
            with pd.ExcelWriter(path, engine="odf") as book:
                for title, rows in self.sheets.items():
                    pd.DataFrame(rows).to_excel(book, sheet_name=title, index=False, header=False)
        else:
            self._xlsx(path)
        return path

    def _xlsx(self, path: Path) -> None:
        book = openpyxl.Workbook()
        book.remove(book.active)
        for title, rows in self.sheets.items():
            sheet = book.create_sheet(title)
            for row in rows:
                sheet.append(row)
            for area in self.merged.get(title, []):
                sheet.merge_cells(area)
        book.save(path)


def day(month: int, number: int) -> pd.Timestamp:
    return pd.Timestamp(2026, month, number)


DATES_ACROSS = Book(
    "Hill Farm 2026.xlsx",
    {
        "Beetles": [
            ["Flea beetles per plant"],
            [],
            ["Rep", "Trt", "Plot #", "6/5/2026", "6/12/2026", "6/19/2026", "Total"],
            [1, "Untreated", 101, 4, 9, 11, 24],
            [1, "Fine mesh", 102, 0, "n/a", 1, 1],
            [2, "Fine mesh", 201, 0, 1, 0, 1],
            [2, "Untreated", 202, 5, "n/a", 14, 19],
        ]
    },
    {
        "plots": (
            ["plot", "block", "treatment"],
            [
                ["101", "1", "untreated"],
                ["102", "1", "fine_mesh"],
                ["201", "2", "fine_mesh"],
                ["202", "2", "untreated"],
            ],
        ),
        "scouting": (
            ["date", "plot", "organism", "count"],
            [
                [day(6, 5), "101", "flea_beetles", 4],
                [day(6, 12), "101", "flea_beetles", 9],
                [day(6, 19), "101", "flea_beetles", 11],
                [day(6, 5), "102", "flea_beetles", 0],
                [day(6, 19), "102", "flea_beetles", 1],
                [day(6, 5), "201", "flea_beetles", 0],
                [day(6, 12), "201", "flea_beetles", 1],
                [day(6, 19), "201", "flea_beetles", 0],
                [day(6, 5), "202", "flea_beetles", 5],
                [day(6, 19), "202", "flea_beetles", 14],
            ],
        ),
    },
)

PLANTS_ACROSS_UNDER_BLOCKS = Book(
    "lower_terrace.xlsx",
    {
        "Layout": [
            ["Plot", "Block", "Treatment", "No. of plants", "Plot area (sq ft)"],
            [101, 1, "Control", 8, 60],
            [102, 1, "Silver mulch", 8, 60],
            [201, 2, "Silver mulch", 8, 60],
            [202, 2, "Control", 7, 60],
        ],
        "Scouting": [
            ["Squash bugs"],
            ["Date", "Plot", "Plant 1", "Plant 2", "Plant 3", "Remarks"],
            ["Block 1"],
            [dt.date(2026, 7, 3), 101, 2, 0, 1, None],
            [None, 102, 0, 0, 0, "windy"],
            ["Block 2"],
            [None, 201, 1, None, 0, None],
            [None, 202, 3, 4, 2, None],
        ],
    },
    {
        "plots": (
            ["plot", "block", "treatment", "plants", "area"],
            [
                ["101", "1", "control", 8, 60 * 0.09290304],
                ["102", "1", "silver_mulch", 8, 60 * 0.09290304],
                ["201", "2", "silver_mulch", 8, 60 * 0.09290304],
                ["202", "2", "control", 7, 60 * 0.09290304],
            ],
        ),
        "scouting": (
            ["date", "plot", "plant", "organism", "count", "note"],
            [
                [day(7, 3), "101", "Plant 1", "squash_bugs", 2, None],
                [day(7, 3), "101", "Plant 2", "squash_bugs", 0, None],
                [day(7, 3), "101", "Plant 3", "squash_bugs", 1, None],
                [day(7, 3), "102", "Plant 1", "squash_bugs", 0, "windy"],
                [day(7, 3), "102", "Plant 2", "squash_bugs", 0, "windy"],
                [day(7, 3), "102", "Plant 3", "squash_bugs", 0, "windy"],
                [day(7, 3), "201", "Plant 1", "squash_bugs", 1, None],
                [day(7, 3), "201", "Plant 3", "squash_bugs", 0, None],
                [day(7, 3), "202", "Plant 1", "squash_bugs", 3, None],
                [day(7, 3), "202", "Plant 2", "squash_bugs", 4, None],
                [day(7, 3), "202", "Plant 3", "squash_bugs", 2, None],
            ],
        ),
    },
    check="control",
)

POUNDS_AND_OUNCES = Book(
    "pick_sheets_2026.xlsx",
    {
        "Pickings": [
            ["Picked", "Plot no.", "Rep", "Treatment", "Class", "Reason", "# fruit", "Wt (oz)"],
            ["7/28/2026", 1, "A", "No cover", "Mkt", None, 12, 96],
            ["7/28/2026", 1, "A", "No cover", "Cull", "Sun scald", 2, 9.5],
            ["7/28/2026", 2, "A", "Row cover", "Mkt", None, 15, 130.25],
            ["8/4/2026", 3, "B", "Row cover", "Mkt", None, 11, 88],
            ["8/4/2026", 4, "B", "No cover", "Reject", "Insect holes", 3, 14],
        ],
        "Weather": [
            ["Day", "Low °F", "High °F", "Rain (in)"],
            ["7/28/2026", 59, 86, 0.5],
            ["7/29/2026", 50, 77, 0],
        ],
        "Scratch": [["ask about the gate"], ["call the co-op"]],
    },
    {
        "plots": (
            ["plot", "block", "treatment"],
            [
                ["1", "A", "no_cover"],
                ["2", "A", "row_cover"],
                ["3", "B", "row_cover"],
                ["4", "B", "no_cover"],
            ],
        ),
        "harvest": (
            ["date", "plot", "grade", "cull_cause", "fruit", "weight"],
            [
                [day(7, 28), "1", "marketable", None, 12, 96 * OZ],
                [day(7, 28), "1", "cull", "sun_scald", 2, 9.5 * OZ],
                [day(7, 28), "2", "marketable", None, 15, 130.25 * OZ],
                [day(8, 4), "3", "marketable", None, 11, 88 * OZ],
                [day(8, 4), "4", "cull", "insect_holes", 3, 14 * OZ],
            ],
        ),
        "weather": (
            ["date", "tmin", "tmax", "rain"],
            [[day(7, 28), 15, 30, 12.7], [day(7, 29), 10, 25, 0]],
        ),
    },
    check="no_cover",
)

SEMICOLONS_AND_COMMAS = Book(
    "east_field.csv",
    {},
    {
        "harvest": (
            ["date", "plot", "grade", "fruit", "weight"],
            [
                [day(8, 5), "N1", "marketable", 10, 3.2],
                [day(8, 5), "N2", "cull", 2, 0.455],
                [day(8, 25), "N1", "marketable", 7, 2.05],
                [day(8, 25), "N2", "marketable", 8, 2.4],
            ],
        ),
        "plots": (
            ["plot", "block", "treatment"],
            [["N1", "I", "untreated_check"], ["N2", "I", "kaolin_film"]],
        ),
    },
    text="Date;Plot;Block;Treatment;Grade;Fruit;Weight (kg)\n"
    "05.08.2026;N1;I;Untreated check;marketable;10;3,2\n"
    "05.08.2026;N2;I;Kaolin film;cull;2;0,455\n"
    "25.08.2026;N1;I;Untreated check;marketable;7;2,05\n"
    "25.08.2026;N2;I;Kaolin film;marketable;8;2,4\n",
    check="untreated_check",
)

OPEN_DOCUMENT = Book(
    "river_bend.ods",
    {
        "Plot map": [
            ["Plot", "Replicate", "Trt", "Row", "Col"],
            ["A1", "1", "none", 1, 1],
            ["A2", "1", "clover", 1, 2],
            ["B1", "2", "clover", 2, 1],
            ["B2", "2", "none", 2, 2],
        ],
        "Counts": [
            ["Date", "Plot", "Insect", "Life stage", "Number", "Scout"],
            ["2026-06-10", "A1", "Flea beetle", "adult", 5, "KL"],
            ["2026-06-10", "A2", "Flea beetle", "adult", 1, "KL"],
            ["2026-06-10", "B1", "Flea beetle", "larva", 0, "KL"],
            ["2026-06-10", "B2", "Lady beetle", "adult", 2, "KL"],
        ],
        "Log": [
            ["Date", "What happened", "Remarks"],
            ["2026-05-20", "Transplanted", "dry"],
            ["2026-07-02", "First bloom", None],
        ],
    },
    {
        "plots": (
            ["plot", "block", "treatment", "row", "column"],
            [
                ["A1", "1", "treatment_none", 1, 1],
                ["A2", "1", "clover", 1, 2],
                ["B1", "2", "clover", 2, 1],
                ["B2", "2", "treatment_none", 2, 2],
            ],
        ),
        "scouting": (
            ["date", "plot", "organism", "stage", "count", "observer"],
            [
                [day(6, 10), "A1", "flea_beetle", "adult", 5, "KL"],
                [day(6, 10), "A2", "flea_beetle", "adult", 1, "KL"],
                [day(6, 10), "B1", "flea_beetle", "larva", 0, "KL"],
                [day(6, 10), "B2", "lady_beetle", "adult", 2, "KL"],
            ],
        ),
        "events": (
            ["date", "event", "note"],
            [[day(5, 20), "transplanted", "dry"], [day(7, 2), "first_bloom", None]],
        ),
    },
    check="treatment_none",
)

SEVERAL_INSECTS_ACROSS = Book(
    "north_slope.xlsx",
    {
        "Insect counts": [
            ["Visit", "Plot", "Block", "Treatment", "Flea beetles", "Aphids", "Comments"],
            ["15/6/2026", "1", 1, "Check", 3, 40, None],
            ["15/6/2026", "2", 1, "Netting", 0, 12, None],
            ["22/6/2026", "1", 1, "Check", 6, "-", "rain"],
            ["22/6/2026", "2", 1, "Netting", 0, 9, None],
        ],
        "Damage": [
            ["Rating date", "Plot", "Holes", "Vigour"],
            ["29/6/2026", "1", 7, 40],
            ["29/6/2026", "2", 1, 85],
        ],
    },
    {
        "scouting": (
            ["date", "plot", "organism", "count", "note"],
            [
                [day(6, 15), "1", "flea_beetles", 3, None],
                [day(6, 15), "1", "aphids", 40, None],
                [day(6, 15), "2", "flea_beetles", 0, None],
                [day(6, 15), "2", "aphids", 12, None],
                [day(6, 22), "1", "flea_beetles", 6, "rain"],
                [day(6, 22), "2", "flea_beetles", 0, None],
                [day(6, 22), "2", "aphids", 9, None],
            ],
        ),
        "ratings": (
            ["date", "plot", "what", "score"],
            [
                [day(6, 29), "1", "holes", 7],
                [day(6, 29), "1", "vigour", 40],
                [day(6, 29), "2", "holes", 1],
                [day(6, 29), "2", "vigour", 85],
            ],
        ),
        "plots": (
            ["plot", "block", "treatment"],
            [["1", "1", "check"], ["2", "1", "netting"]],
        ),
    },
    check="check",
)

MERGED_BLOCKS = Book(
    "terrace_b_2026.xlsx",
    {
        "layout and fruit": [
            ["Harvest 2026, all weights in pounds"],
            ["Rep", "Plot", "Trt", "Date", "Grade", "No.", "lbs"],
            ["I", 11, "Bare ground", dt.date(2026, 8, 1), "M", 5, 2],
            [None, 12, "Straw", dt.date(2026, 8, 1), "M", 6, 2.5],
            ["II", 21, "Straw", dt.date(2026, 8, 1), "M", 4, 1.5],
            [None, 22, "Bare ground", dt.date(2026, 8, 1), "C", 1, 0.5],
        ]
    },
    {
        "plots": (
            ["plot", "block", "treatment"],
            [
                ["11", "I", "bare_ground"],
                ["12", "I", "straw"],
                ["21", "II", "straw"],
                ["22", "II", "bare_ground"],
            ],
        ),
        "harvest": (
            ["date", "plot", "grade", "fruit", "weight"],
            [
                [day(8, 1), "11", "marketable", 5, 2 * LB],
                [day(8, 1), "12", "marketable", 6, 2.5 * LB],
                [day(8, 1), "21", "marketable", 4, 1.5 * LB],
                [day(8, 1), "22", "cull", 1, 0.5 * LB],
            ],
        ),
    },
    check="bare_ground",
    merged={"layout and fruit": ["A3:A4", "A5:A6"]},
)

BOOKS = {
    "dates_across": DATES_ACROSS,
    "plants_across_under_block_headings": PLANTS_ACROSS_UNDER_BLOCKS,
    "ounces_inches_and_fahrenheit": POUNDS_AND_OUNCES,
    "semicolons_day_first_and_decimal_commas": SEMICOLONS_AND_COMMAS,
    "open_document_with_other_names": OPEN_DOCUMENT,
    "several_insects_and_scores_across": SEVERAL_INSECTS_ACROSS,
    "merged_blocks_filled_down": MERGED_BLOCKS,
}
