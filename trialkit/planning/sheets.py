"""Workbooks to carry: scouting, harvest and ratings sheets that only take valid entries.

A sheet has the name and the columns of a table, its header in the first row and one row for every
entry that is wanted, in walking order; so what is typed into it is the table that intake reads. The
workbooks of all visits go into the site-season's folder side by side and are read as one table.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import pandas as pd
import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.worksheet import Worksheet

from trialkit.planning.plot_map_sheet import paper_of
from trialkit.planning.walk import serpentine
from trialkit.study import Study
from trialkit.study.layout import Paper

PAPER_CODES: Final = {"letter": 1, "a4": 9}
PENCIL_HEIGHT: Final = 22  # points; room for a pencil
ROOM_FOR_EVENTS: Final = 12  # blank rows for what is seen on a visit
CENTRED: Final = ("date", "plot", "plant", "block", "row", "column")
# A label that begins with = is a label, not a formula; one that looks like an address is no link.
AS_TEXT: Final = {"strings_to_formulas": False, "strings_to_urls": False}
LONGEST_LIST: Final = 255  # characters that a drop-down typed into a cell can hold


@dataclass(frozen=True)
class Entry:
    """A column to fill in: what it takes (a date, list, whole number, number or text)."""

    kind: str = "text"
    choices: tuple[str, ...] = ()
    low: float = 0
    high: float | None = None
    says: str = ""
    width: float = 12


@dataclass(frozen=True)
class FieldSheet:
    """One sheet: table name, rows with the cells that are known already, and entries by column.

    ``remark`` is printed at the foot of every page.
    """

    table: str
    rows: pd.DataFrame
    entries: dict[str, Entry] = field(default_factory=dict)
    remark: str = ""


def plots_sheet(plots: pd.DataFrame) -> FieldSheet:
    """The layout, so that a workbook is whole in itself; only ``lost`` is to fill in."""
    known = plots.drop(columns="lost", errors="ignore")
    lost = Entry(says="Why a plot is lost; empty while it stands", width=18)
    return FieldSheet("plots", known, {"lost": lost})


def scouting_sheet(study: Study, plots: pd.DataFrame, date: dt.date) -> FieldSheet:
    """One row a plant, organism and stage of the plots that still stand, in walking order."""
    targets = [(o.id, stage) for o in study.organisms for stage in (o.stages or ("",))]
    rows = [
        (date, plot, plant, organism, stage)
        for plot in _standing(plots)
        for plant in range(1, study.layout.plants_scouted + 1)
        for organism, stage in targets
    ]
    frame = pd.DataFrame(rows, columns=["date", "plot", "plant", "organism", "stage"])
    counted = Entry("whole", says="A whole number from 0 up; leave empty if not looked at")
    entries = {"count": counted, "observer": Entry(width=10), "note": Entry(width=18)}
    return FieldSheet("scouting", frame, entries, "None seen: 0. Not looked at: leave empty.")


def ratings_sheet(study: Study, plots: pd.DataFrame, date: dt.date) -> FieldSheet:
    """One row a plot and score."""
    rows = [(date, plot, rating.id) for plot in _standing(plots) for rating in study.ratings]
    frame = pd.DataFrame(rows, columns=["date", "plot", "what"])
    top = max((100 if r.scale == "percent" else 10 for r in study.ratings), default=10)
    entries = {"score": Entry("number", high=top, says=f"A score from 0 to {top}")}
    remark = f"Scores from 0 to {top}. Not rated: leave empty."
    return FieldSheet("ratings", frame, entries | {"observer": Entry()}, remark)


def harvest_sheet(study: Study, plots: pd.DataFrame, date: dt.date) -> FieldSheet:
    """One row a plot and grade: marketable, then a cull row for each cause."""
    grades = [("marketable", ""), *[("cull", cause.id) for cause in study.cull_causes]]
    rows = [(date, plot, *grade) for plot in _standing(plots) for grade in grades]
    frame = pd.DataFrame(rows, columns=["date", "plot", "grade", "cull_cause"])
    unit = "lb" if study.units == "us" else "kg"
    entries = {
        "fruit": Entry("whole", says="Number of fruit, 0 if there is none"),
        "weight": Entry("number", says=f"Weight in {unit}, 0 if there is no fruit"),
    }
    remark = f"Weight in {unit}. Nothing picked: 0 and 0. Not looked at: leave empty."
    return FieldSheet("harvest", frame, entries, remark)


def events_sheet(study: Study, plots: pd.DataFrame) -> FieldSheet:
    """Blank rows for what is seen on a visit, such as the first bloom of a plot."""
    frame = pd.DataFrame(index=range(ROOM_FOR_EVENTS))
    entries = {
        "date": Entry("date", width=13),
        "plot": Entry("list", tuple(_standing(plots)), says="A plot; empty for the whole site"),
        "event": Entry("list", study.events, says=f"One of: {', '.join(study.events)}", width=18),
        "note": Entry(width=40),
    }
    return FieldSheet("events", frame, entries, "Plot empty: the whole site.")


def write_workbook(
    study: Study, sheets: Sequence[FieldSheet], path: Path, heading: str, paper: Paper | None = None
) -> Path:
    """Write a workbook of field sheets; the same sheets give the same bytes."""
    book = xlsxwriter.Workbook(path, {"default_date_format": "yyyy-mm-dd"} | AS_TEXT)
    book.set_properties({"title": heading, "created": dt.datetime(2024, 1, 1)})
    formats = Formats(book)
    for sheet in sheets:
        page = book.add_worksheet(sheet.table)
        _set_up(page, heading, paper or paper_of(study), sheet.remark)
        _fill(page, sheet, formats)
        _validate(page, study, sheet)
    book.close()
    return path


class Formats:
    """Formats of cells: framed, a heavier line above each new plot, short entries centred."""

    def __init__(self, book: xlsxwriter.Workbook) -> None:
        self.book = book
        self.made: dict[tuple[str, bool], Format] = {}
        look = {"bold": True, "border": 1, "bg_color": "#E8E8E8", "valign": "vcenter"}
        self.header = book.add_format(look)

    def of(self, column: str, first: bool) -> Format:
        """The format of a cell in a column; ``first`` begins a plot."""
        kind = column if column in CENTRED else "text"
        if (kind, first) not in self.made:
            look: dict[str, Any] = {"border": 1, "valign": "vcenter"}
            look |= {"align": "center"} if kind != "text" else {}
            look |= {"num_format": "yyyy-mm-dd"} if kind == "date" else {}
            look |= {"top": 2} if first else {}
            self.made[(kind, first)] = self.book.add_format(look)
        return self.made[(kind, first)]


def _standing(plots: pd.DataFrame) -> list[str]:
    """Plots that are not lost, in walking order."""
    lost = plots["lost"].fillna("") != "" if "lost" in plots else pd.Series(False, plots.index)
    return [str(plot) for plot in serpentine(plots[~lost])["plot"]]


def _set_up(page: Worksheet, heading: str, paper: str, remark: str) -> None:
    page.set_paper(PAPER_CODES[paper])
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    page.freeze_panes(1, 2)
    page.set_margins(left=0.5, right=0.5, top=0.8, bottom=0.6)
    page.set_header(f'&L&"Arial,Bold"{heading.replace("&", "&&")}&R&A, page &P of &N')
    page.set_footer(f"&LObserver: __________  Begun: ______  Ended: ______&R{remark}")


def _fill(page: Worksheet, sheet: FieldSheet, formats: Formats) -> None:
    columns = [*sheet.rows.columns, *sheet.entries]
    page.set_row(0, PENCIL_HEIGHT)
    page.write_row(0, 0, columns, formats.header)
    starts = _starts_of_plots(sheet.rows)
    blank = (None,) * len(sheet.entries)
    for number, values in enumerate(sheet.rows.itertuples(index=False), start=1):
        page.set_row(number, PENCIL_HEIGHT)
        for column, value in enumerate((*values, *blank)):
            look = formats.of(columns[column], number in starts)
            _write(page, number, column, value, look)
    for column, name in enumerate(columns):
        page.set_column(column, column, _width(sheet, name))


def _starts_of_plots(rows: pd.DataFrame) -> set[int]:
    """Rows of the sheet, from 1, at which the plot is another than in the row above."""
    if "plot" not in rows:
        return set()
    new = (rows["plot"] != rows["plot"].shift()).to_numpy()
    return {number for number, is_new in enumerate(new, start=1) if is_new}


def _width(sheet: FieldSheet, name: str) -> float:
    """Width of a column in characters: narrow for what is known, so that the page prints large."""
    if name in sheet.entries:
        return sheet.entries[name].width
    return float(max(len(name), *(len(str(value)) for value in sheet.rows[name]), 4) + 2)


def _write(page: Worksheet, row: int, column: int, value: Any, look: Format) -> None:
    if value is None:
        page.write_blank(row, column, None, look)
    elif isinstance(value, dt.date):
        page.write_datetime(row, column, value, look)
    elif isinstance(value, str) and value.isdecimal() and str(int(value)) == value:
        page.write_number(row, column, int(value), look)
    else:
        page.write(row, column, value, look)


def _validate(page: Worksheet, study: Study, sheet: FieldSheet) -> None:
    """Only valid entries are taken, in the cells to fill in and in those that are known."""
    last = max(len(sheet.rows), 1)
    columns = [*sheet.rows.columns, *sheet.entries]
    rules = {**_rules_of_known(study, sheet), **_rules_of_entries(study, sheet)}
    for name, rule in rules.items():
        column = columns.index(name)
        page.data_validation(1, column, last, column, rule)


def _rules_of_entries(study: Study, sheet: FieldSheet) -> dict[str, dict[str, Any]]:
    rules = {name: _rule_of(study, entry) for name, entry in sheet.entries.items()}
    return {name: rule for name, rule in rules.items() if rule}


def _rule_of(study: Study, entry: Entry) -> dict[str, Any]:
    """What a cell to fill in takes; nothing for free text."""
    if entry.kind == "date":
        return _span(study)
    if entry.kind == "list":
        return _one_of(entry.choices, entry.says)
    if entry.kind == "text":
        return {}
    bounds: dict[str, Any] = {"criteria": ">=", "value": entry.low}
    if entry.high is not None:
        bounds = {"criteria": "between", "minimum": entry.low, "maximum": entry.high}
    kind = {"whole": "integer", "number": "decimal"}[entry.kind]
    return {"validate": kind, **bounds, **_said(entry.says)}


def _one_of(words: Sequence[str], says: str) -> dict[str, Any]:
    """A drop-down; a list too long for a cell takes anything, and intake looks at it instead."""
    if not words or len(",".join(words)) > LONGEST_LIST:
        return {}
    return {"validate": "list", "source": list(words), **_said(says)}


def _span(study: Study) -> dict[str, Any]:
    first = min(season.first_date for season in study.seasons)
    last = max(season.last_date for season in study.seasons)
    span = {"validate": "date", "criteria": "between", "minimum": first, "maximum": last}
    return span | _said(f"A date from {first} to {last}")


def _rules_of_known(study: Study, sheet: FieldSheet) -> dict[str, dict[str, Any]]:
    """Drop-downs for the columns that take one of a few words, and a span for dates."""
    rules: dict[str, dict[str, Any]] = {}
    for name in ("plot", "organism", "stage", "what", "grade", "cull_cause"):
        if name not in sheet.rows:
            continue
        words = [word for word in dict.fromkeys(map(str, sheet.rows[name])) if word]
        rule = _one_of(words, f"One of: {', '.join(words)}")
        rules |= {name: rule} if rule else {}
    return rules | ({"date": _span(study)} if "date" in sheet.rows else {})


def _said(text: str) -> dict[str, str]:
    return {"error_title": "Not a valid entry", "error_message": text[:255]}
