"""Columns of the archive's tables as Table Schema fields, from the models that intake checks by.

Table Schema: https://specs.frictionlessdata.io/table-schema/ (version 1).
"""

from typing import Any, Final

import pandas as pd

from trialkit.columns import ACROSS, QUANTITY_OF_COLUMN, VERDICTS
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


_SCOPE: Final = (
    whole("season", "year of the season; 0 for the answer across all", required=True),
    text("site", f"id of the site; '{ACROSS}' for the answer across all", required=True),
    text("measure", "id of the measure, as in the table measures", required=True),
)
_MODEL_SCALE: Final = "on the scale of the model (its units, log ratio or log odds ratio)"
_READ_SCALE: Final = "on the scale that people read, named by effect_unit"

EFFECT_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE,
    text("treatment", "id of the treatment", required=True),
    text("versus", "id of the treatment that it is compared with", required=True),
    number("estimate", f"difference from the check, {_MODEL_SCALE}"),
    number("se", "standard error of the estimate", minimum=0),
    number("df", "degrees of freedom of the interval"),
    number("low", "lower end of the confidence interval of the estimate"),
    number("high", "upper end of the confidence interval of the estimate"),
    number("p", "p value of the contrast by itself", minimum=0, maximum=1),
    number("p_adjusted", "p value within the family of contrasts", minimum=0, maximum=1),
    number("ratio", "treatment divided by check; of odds for shares", minimum=0),
    number("ratio_low", "lower end of the ratio's interval", minimum=0),
    number("ratio_high", "upper end of the ratio's interval", minimum=0),
    number("effect", f"difference from the check {_READ_SCALE}"),
    number("effect_low", f"lower end of its interval {_READ_SCALE}"),
    number("effect_high", f"upper end of its interval {_READ_SCALE}"),
    text("effect_unit", "percent (of the check), points (percentage points) or the measure's unit"),
    number("margin", f"smallest difference that would matter, {_READ_SCALE}", minimum=0),
    text("verdict", "what the whole interval says of the margin", enum=list(VERDICTS)),
    text("direction", "what the estimate means for a grower", enum=["better", "worse", "none"]),
    text(
        "bound", "which end of the interval the data give, where only one", enum=["upper", "lower"]
    ),
    number("hedges_g", "standardised difference, corrected for small samples"),
    number("g_low", "lower end of the interval of hedges_g"),
    number("g_high", "upper end of the interval of hedges_g"),
)
VALUE_FIELDS: Final[tuple[Field, ...]] = (
    *_SCOPE[:2],
    text("plot", "label of the plot", required=True),
    text("block", "block that the plot stands in", required=True),
    text("treatment", "id of the treatment", required=True),
    _SCOPE[2],
    number("value", "the number that is analysed and drawn, in the measure's SI unit"),
    number("events", "total counted, or numerator of a share"),
    number("trials", "denominator of a share"),
    number("exposure", "what a count was counted on, such as plants"),
    text("left_out", "why the value is not analysed; empty for one that is"),
)
