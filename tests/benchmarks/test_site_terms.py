"""What naming sites and seasons does: the committed table, and a short run of the same code."""

import numpy as np
import pandas as pd
import pytest
from site_terms import TABLE, TRUTHS, Layout, cells, measure

REPORTS = "site and season named"


@pytest.fixture(scope="module")
def table():
    return pd.read_csv(TABLE)


def test_table_holds_every_cell(table):
    wanted = {(*layout.words.values(), truth) for layout, truth in cells()}
    found = set(zip(table["layout"], table["lost"], table["answered alike"], strict=True))
    assert found == wanted


def test_what_reports_do_holds_its_error_rate_and_coverage(table):
    own = table[table["method"] == REPORTS]
    error = np.sqrt(0.05 * 0.95 / own["sets"])
    assert (own["type1"] <= 0.05 + 3 * error).all()
    assert own["type1"].mean() == pytest.approx(0.05, abs=0.015)
    assert own["coverage"].between(0.95 - 3 * error, 0.95 + 3 * error).all()


def test_environments_alone_reject_far_too_often_where_answers_repeat(table):
    alone = table[
        (table["method"] == "environments alone") & (table["answered alike"] != "neither")
    ]
    few_come_back = alone["layout"].str.contains("less")
    assert alone.loc[~few_come_back, "type1"].min() > 0.15
    assert alone.loc[few_come_back, "type1"].min() > 0.09


def test_a_short_run_shows_the_same():
    found = measure(Layout(3, 3, 0.0), "site", 40, 11).set_index("method")
    assert found.loc["environments alone", "type1"] > 0.2
    assert found.loc[REPORTS, "type1"] < 0.2
    assert found.loc[REPORTS, "site_in"] == 1
    assert set(TRUTHS) == {"neither", "site", "season", "both"}
