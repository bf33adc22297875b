"""Tables as arrays: words numbered in order, rows kept by their place in the sheet."""

import numpy as np
import pandas as pd

from trialkit.intake.suspicion.rows import Rows, in_rows, of_plots

SCOUTING = pd.DataFrame(
    {
        "date": pd.to_datetime(["2026-06-12", "2026-06-05", None]),
        "plot": ["102", "101", "103"],
        "observer": ["B", None, "A"],
    },
    index=[2, 3, 9],
)
PLOTS = pd.DataFrame({"plot": ["101", "102", "102"], "treatment": ["netting", "check", "netting"]})


def test_words_are_numbered_alphabetically_and_a_missing_one_is_minus_one():
    codes, words = Rows(SCOUTING).words("observer")
    assert (codes.tolist(), words) == ([1, -1, 0], ["A", "B"])


def test_days_are_numbered_in_order():
    codes, dates = Rows(SCOUTING).days()
    assert codes.tolist() == [1, 0, -1]
    assert [str(date)[:10] for date in dates] == ["2026-06-05", "2026-06-12"]


def test_places_are_rows_of_the_sheet():
    mask = np.array([False, True, True])
    assert (Rows(SCOUTING).at(mask), Rows(SCOUTING).first(mask)) == ([3, 9], [3])


def test_the_layout_tells_the_treatment_and_of_a_plot_named_twice_the_first_one():
    codes, words = of_plots(Rows(SCOUTING), Rows(PLOTS), "treatment")
    assert [words[code] if code >= 0 else None for code in codes] == ["check", "netting", None]


def test_what_is_known_of_rows_is_kept():
    known = in_rows({"scouting": SCOUTING})
    assert in_rows(known)["scouting"] is known["scouting"]
