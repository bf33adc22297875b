"""What is derived from tables that stay as they are is derived once, and only from those."""

from types import SimpleNamespace

import pandas as pd

from trialkit.measures.steady import SteadyTables, once_per_data, once_per_tables


@once_per_tables
def rows(study: object, season: int, site: str, tables: dict, least: object = None) -> object:
    return [season, site, len(tables["plots"])]


@once_per_data
def words(data: object, name: str) -> list[str]:
    return [name]


def test_steady_tables_are_worked_on_once_for_each_question() -> None:
    study, tables = object(), SteadyTables({"plots": pd.DataFrame({"plot": [1, 2]})})
    first = rows(study, 2025, "north", tables)
    assert rows(study, 2025, "north", tables) is first
    for other in ((study, 2024, "north"), (study, 2025, "south"), (object(), 2025, "north")):
        assert rows(*other, tables) is not first
    assert rows(study, 2025, "north", tables, object()) is not first


def test_tables_that_may_change_are_worked_on_anew() -> None:
    study, tables = object(), {"plots": pd.DataFrame({"plot": [1, 2]})}
    assert rows(study, 2025, "north", tables) == [2025, "north", 2]
    tables["plots"] = tables["plots"].iloc[:1]
    assert rows(study, 2025, "north", tables) == [2025, "north", 1]


def test_each_data_remembers_its_own_by_words() -> None:
    one, other = SimpleNamespace(known={}), SimpleNamespace(known={})
    assert words(one, "bloom") is words(one, "bloom")
    assert words(one, "bloom") is not words(other, "bloom")
    assert words(one, "rain") == ["rain"]
