"""The order of walking."""

import pandas as pd

from trialkit.planning.walk import serpentine


def test_odd_rows_go_up_and_even_rows_come_back():
    plots = pd.DataFrame(
        {"plot": list("abcdef"), "row": [1, 1, 1, 2, 2, 2], "column": [1, 2, 3, 1, 2, 3]}
    )
    assert "".join(serpentine(plots.sample(frac=1, random_state=1))["plot"]) == "abcfed"


def test_plots_without_places_keep_their_order():
    plots = pd.DataFrame({"plot": list("cab"), "row": [None] * 3, "column": [None] * 3})
    assert "".join(serpentine(plots)["plot"]) == "cab"
