"""Coverage of percentage points: the committed table, and a short run of the same code."""

import numpy as np
import pandas as pd
from points import CELLS, TABLE, measure


def test_table_holds_every_cell_and_its_coverage():
    table = pd.read_csv(TABLE)
    assert len(table) == len(CELLS)
    # Four contrasts share a check: the standard error is taken from the number of trials.
    error = np.sqrt(0.95 * 0.05 / (table["intervals"] / 4))
    assert table["points"].between(0.95 - 3 * error, 0.95 + 3 * error).all()
    assert 0.935 < table["points"].mean() < 0.965


def test_the_check_taken_as_known_holds_less_where_few_are_affected():
    table = pd.read_csv(TABLE)
    few = table[table["share"] == 0.05]
    assert (few["check known"] < few["points"]).all()


def test_a_short_run_is_compatible_with_the_table():
    found = measure((4, 0.2, 0.03), 40, 3)
    assert found["intervals"] > 140
    assert found["points"] > 0.95 - 4 * np.sqrt(0.95 * 0.05 / 40)
