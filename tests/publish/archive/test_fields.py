"""The Table Schema of the archive says what the models of intake say."""

import pytest

from trialkit.columns import DEVIATIONS, EFFECTS, MOVED, PLOT_VALUES
from trialkit.intake.schemas import MODELS, column_names, required_columns, schema
from trialkit.publish.archive.fields import fields_of
from trialkit.publish.archive.report_fields import OF_REPORTS


@pytest.mark.parametrize("table", MODELS)
def test_every_column_of_a_model_is_a_field(table, example_study) -> None:
    fields = fields_of(table, example_study)
    own = fields if table == "costs" else fields[2:]
    assert [field["name"] for field in own] == list(column_names(table))


@pytest.mark.parametrize("table", MODELS)
def test_a_column_that_must_be_filled_is_required(table, example_study) -> None:
    required = {
        field["name"]
        for field in fields_of(table, example_study)
        if field.get("constraints", {}).get("required")
    }
    filled = {name for name in required_columns(table) if not schema(table).columns[name].nullable}
    assert filled == required - {"season", "site"}


def test_types_units_and_bounds_come_from_the_model(example_study) -> None:
    fields = {field["name"]: field for field in fields_of("plots", example_study)}
    assert fields["plants"]["type"] == "integer"
    assert fields["plants"]["constraints"] == {"minimum": 0}
    assert (fields["area"]["type"], fields["area"]["unit"]) == ("number", "m²")
    assert "more than 0" in fields["area"]["description"]
    scouting = {field["name"]: field for field in fields_of("scouting", example_study)}
    assert scouting["date"]["type"] == "date"
    assert scouting["count"]["type"] == "integer"
    costs = {field["name"]: field for field in fields_of("costs", example_study)}
    assert costs["price"]["unit"] == "USD"


def test_tables_beside_reports_have_the_columns_that_reports_write() -> None:
    named = {file: tuple(f["name"] for f in table.fields) for file, table in OF_REPORTS.items()}
    assert named["findings.csv"] == EFFECTS
    assert named["plot_values.csv"] == named["plot_values_as_typed.csv"] == PLOT_VALUES
    assert named["departures.csv"] == DEVIATIONS
    assert named["moved_by_corrections.csv"] == MOVED


def test_every_bound_that_a_model_checks_is_told(example_study) -> None:
    """A check that Table Schema could say and does not would let a wrong value pass there."""
    known = {"whole", "greater_than_or_equal_to", "greater_than"}
    for table in MODELS:
        for column in schema(table).columns.values():
            assert {check.name for check in column.checks} <= known
