"""Keys are told only where every row bears them out."""

import pandas as pd

from trialkit.publish.archive.keys import true_keys

PLOTS = pd.DataFrame(
    {"season": [2025, 2025], "site": ["a", "a"], "plot": ["1", "2"], "treatment": ["x", "y"]}
)
TREATMENTS = pd.DataFrame({"id": ["x", "y"]})


def test_a_key_that_holds_is_told() -> None:
    keys = true_keys("plots", {"plots": PLOTS, "treatments": TREATMENTS})
    assert keys.primary == ("season", "site", "plot")
    assert keys.foreign == ((("treatment",), "treatments", ("id",)),)


def test_two_rows_of_one_plot_are_no_key() -> None:
    twice = pd.concat([PLOTS, PLOTS.head(1)])
    assert true_keys("plots", {"plots": twice, "treatments": TREATMENTS}).primary == ()


def test_a_treatment_that_is_not_listed_breaks_the_reference() -> None:
    keys = true_keys("plots", {"plots": PLOTS, "treatments": TREATMENTS.head(1)})
    assert keys.foreign == ()


def test_an_empty_cell_refers_to_nothing() -> None:
    harvest = PLOTS.assign(cull_cause=["rot", None])
    frames = {"harvest": harvest, "cull_causes": pd.DataFrame({"id": ["rot"]})}
    assert true_keys("harvest", frames).foreign == ((("cull_cause",), "cull_causes", ("id",)),)


def test_a_plot_that_is_not_in_the_layout_breaks_the_reference() -> None:
    ratings = pd.DataFrame({"season": [2025], "site": ["a"], "plot": ["9"], "what": ["holes"]})
    assert true_keys("ratings", {"ratings": ratings, "plots": PLOTS}).foreign == ()


def test_keys_are_written_as_table_schema_has_them() -> None:
    told = true_keys("plots", {"plots": PLOTS, "treatments": TREATMENTS}).to_schema()
    reference = {"resource": "treatments", "fields": ["id"]}
    assert told["foreignKeys"] == [{"fields": ["treatment"], "reference": reference}]
