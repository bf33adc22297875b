"""Columns of the archive's tables as Table Schema fields, from the models that intake checks by.

Table Schema: https://specs.frictionlessdata.io/table-schema/ (version 1).
"""

from typing import Any, Final

import pandas as pd

from trialkit.columns import QUANTITY_OF_COLUMN
from trialkit.intake.checks import GRADES
from trialkit.intake.schemas import column_names, schema, type_of
from trialkit.study import Study
from trialkit.study.units import unit_label

Field = dict[str, Any]
MISSING: Final = ("",)
_TYPES: Final = {float: "number", pd.Timestamp: "date", str: "string"}
_AT_LEAST: Final = "greater_than_or_equal_to"
_MORE_THAN: Final = "greater_than"

SEASON: Final[Field] = {
    "name": "season",
    "type": "integer",
    "title": "season",
    "description": "year of the season",
    "constraints": {"required": True},
}
SITE: Final[Field] = {
    "name": "site",
    "type": "string",
    "title": "site",
    "description": "id of the site",
    "constraints": {"required": True},
}


def text(name: str, meaning: str, **constraints: Any) -> Field:
    """Return a field that holds text."""
    return _field(name, "string", meaning, constraints)


def number(name: str, meaning: str, unit: str = "", **constraints: Any) -> Field:
    """Return a field that holds a number, in ``unit`` where it has one."""
    return _field(name, "number", meaning, constraints, unit)


def whole(name: str, meaning: str, **constraints: Any) -> Field:
    """Return a field that holds a whole number."""
    return _field(name, "integer", meaning, constraints)


def of_kind(kind: str, name: str, meaning: str, **constraints: Any) -> Field:
    """Return a field of another Table Schema type, such as date or boolean."""
    return _field(name, kind, meaning, constraints)


def _field(name: str, kind: str, meaning: str, constraints: Field, unit: str = "") -> Field:
    field: Field = {"name": name, "type": kind, "title": name.replace("_", " ")}
    field["description"] = meaning
    if unit:
        field["unit"] = unit
    if constraints:
        field["constraints"] = constraints
    return field


def fields_of(table: str, study: Study) -> list[Field]:
    """Return the fields of a table of field data, season and site before its own columns."""
    own = [_from_model(table, name, study) for name in column_names(table)]
    return own if table == "costs" else [SEASON, SITE, *own]


def _from_model(table: str, name: str, study: Study) -> Field:
    column = schema(table).columns[name]
    checks = {check.name: check.statistics or {} for check in column.checks}
    kind = "integer" if "whole" in checks else _TYPES[type_of(table, name)]
    meaning = str(column.description)
    constraints: Field = {} if column.nullable else {"required": True}
    if _AT_LEAST in checks:
        constraints["minimum"] = checks[_AT_LEAST]["min_value"]
    if _MORE_THAN in checks:
        # Version 1 of Table Schema knows no open bound; the words say it.
        constraints["minimum"] = checks[_MORE_THAN]["min_value"]
        meaning = f"{meaning}; more than {checks[_MORE_THAN]['min_value']}"
    if (table, name) == ("harvest", "grade"):
        constraints["enum"] = list(GRADES)
    return _field(name, kind, meaning, constraints, unit_of(table, name, study))


def unit_of(table: str, name: str, study: Study) -> str:
    """Return the unit of a column in the tidy tables, which are in SI units."""
    quantity = QUANTITY_OF_COLUMN.get((table, name))
    if quantity:
        return unit_label(quantity, "si")
    if name == "price":
        return study.currency
    return str((schema(table).columns[name].metadata or {}).get("unit", ""))
