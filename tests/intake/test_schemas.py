"""One description of each table serves validation, empty sheets and the column dictionary."""

import pandas as pd
import pytest
from pandera.errors import SchemaErrors

from tests.intake.conftest import FILES
from trialkit.columns import QUANTITY_OF_COLUMN, TABLES
from trialkit.intake import blank_tables, column_dictionary
from trialkit.intake.schemas import MODELS, column_names, schema


def test_every_table_of_the_vocabulary_has_a_model():
    assert set(MODELS) == {*TABLES, "costs"}


def test_quantities_belong_to_columns_that_exist():
    assert all(name in column_names(table) for table, name in QUANTITY_OF_COLUMN)


def test_empty_sheets_have_the_headers_that_a_valid_study_has():
    headers = blank_tables()
    for table, text in FILES.items():
        assert set(text.splitlines()[0].split(",")) <= set(headers[table])


def test_dictionary_explains_every_column_in_the_units_of_the_study(mini):
    dictionary = column_dictionary(mini.study()).set_index(["table", "column"])
    assert len(dictionary) == sum(len(column_names(table)) for table in MODELS)
    assert (dictionary["meaning"].str.len() > 0).all()
    assert dictionary.loc[("harvest", "weight"), "unit"] == "kg"
    mini.declare('units = "si"', 'units = "us"')
    dictionary = column_dictionary(mini.study()).set_index(["table", "column"])
    assert dictionary.loc[("harvest", "weight"), "unit"] == "lb"
    assert dictionary.loc[("scouting", "date"), "type"] == "date (2026-05-31)"


def test_tidy_tables_satisfy_their_own_models(mini):
    for table, frame in mini.read().tables.items():
        schema(table).validate(frame, lazy=True)


def test_models_refuse_a_negative_count():
    frame = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-06-05"]).astype("datetime64[ns]"),
            "plot": pd.Series(["101"], dtype="str"),
            "organism": pd.Series(["fly"], dtype="str"),
            "count": [-1.0],
        }
    )
    with pytest.raises(SchemaErrors):
        schema("scouting").validate(frame, lazy=True)
