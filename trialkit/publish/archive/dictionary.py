"""DICTIONARY.html: every table, column and measure of an archive in plain words."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from trialkit.publish.archive.contents import Deposit
from trialkit.publish.archive.declared import margin_unit, settings_of, si_unit
from trialkit.publish.archive.fields import Field
from trialkit.publish.archive.report_fields import OF_REPORTS, ReportTable
from trialkit.publish.archive.tables import Table
from trialkit.publish.frame import policy, style
from trialkit.study import Measure, Study

TYPES: Final = {
    "string": "text",
    "number": "number",
    "integer": "whole number",
    "date": "date (2026-05-31)",
    "boolean": "true or false",
}
KINDS: Final = {
    "insect_days": "the area under the curve of the mean count per plant over the season",
    "season_mean": "the mean count per plant over all visits",
    "peak_count": "the largest mean count per plant of any visit",
    "days_to_threshold": "days from transplanting until the mean count passed the threshold",
    "percent_infested": "the share of plants on which it was found",
    "damage_curve": "the area under the curve of the score over the season",
    "final_score": "the score at the last visit",
    "marketable_yield": "the weight of marketable fruit of all pickings, by area",
    "marketable_per_plant": "the weight of marketable fruit of all pickings, by plant",
    "early_yield": "the weight of marketable fruit of the first pickings, by area",
    "fruit_number": "the number of fruit per plant",
    "mean_fruit_weight": "the weight of marketable fruit divided by their number",
    "target_size_share": "the share of measured fruit within the target size",
    "cull_percent": "the share of fruit that was culled",
    "days_to_first_bloom": "days from transplanting to the first flower",
    "days_to_half_bloom": "days from transplanting until half of the plants flower",
}


@dataclass(frozen=True)
class Column:
    """What the dictionary says of one column."""

    name: str
    kind: str
    unit: str
    filled: str
    meaning: str


@dataclass(frozen=True)
class Entry:
    """What the dictionary says of one table; ``links`` say how it leads to others."""

    anchor: str
    path: str
    about: str
    rows: str
    links: tuple[str, ...]
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class MeasureLine:
    """What the dictionary says of one measure."""

    id: str
    name: str
    meaning: str
    unit: str
    margin: str
    better: str


def dictionary_page(deposit: Deposit, tables: Iterable[Table]) -> str:
    """Return the data dictionary as one page that asks nothing of anybody."""
    study = deposit.study
    view = {
        "title": deposit.title,
        "study": study,
        "private": deposit.private,
        "entries": [_entry(table) for table in tables],
        "reports": [_beside_a_report(*one) for one in OF_REPORTS.items()],
        "measures": [measure_line(one, study) for one in study.measures],
        "style": style(),
        "policy": policy(),
    }
    return f"{_template().render(page=view)}\n"


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        trim_blocks=True,
        undefined=StrictUndefined,
    )
    return environment.get_template("dictionary.html.j2")


def _entry(table: Table) -> Entry:
    many = len(table.frame)
    links = [f"{', '.join(table.keys.primary)}: no two rows have the same"] * bool(
        table.keys.primary
    )
    links += [
        f"{', '.join(here)}: as in the table {other}, {', '.join(there)}"
        for here, other, there in table.keys.foreign
    ]
    return Entry(
        anchor=table.name,
        path=f"tables/{table.name}.csv",
        about=f"Each row is {table.row_is}.",
        rows=f"{many} row{'' if many == 1 else 's'}",
        links=tuple(links),
        columns=tuple(map(_column, table.fields)),
    )


def _beside_a_report(file: str, table: ReportTable) -> Entry:
    return Entry(
        anchor=file.removesuffix(".csv"),
        path=f"REPORT/{file}",
        about=f"{table.about}. Each row is {table.row_is}.",
        rows="",
        links=(),
        columns=tuple(map(_column, table.fields)),
    )


def _column(field: Field) -> Column:
    constraints = field.get("constraints", {})
    allowed = constraints.get("enum")
    one_of = f"; one of: {', '.join(map(str, allowed))}" if allowed else ""
    return Column(
        name=field["name"],
        kind=TYPES[field["type"]],
        unit=field.get("unit", ""),
        filled="always" if constraints.get("required") else "may be empty",
        meaning=f"{field['description']}{one_of}",
    )


def measure_line(one: Measure, study: Study) -> MeasureLine:
    """Return what the dictionary says of a measure."""
    settings = settings_of(one)
    of = f" of {one.organism}" if one.organism else ""
    return MeasureLine(
        id=one.id,
        name=one.name,
        meaning=f"{KINDS[one.kind]}{of}{f' ({settings})' if settings else ''}",
        unit=si_unit(one),
        margin=f"{one.margin:g} {margin_unit(one, study)}",
        better="lower" if one.lower_is_better else "higher",
    )
