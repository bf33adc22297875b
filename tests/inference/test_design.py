"""Bad input is refused in words that name the column, the value and the remedy."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference.design import make_design


def trial() -> pd.DataFrame:
    rows = [
        (b, t, 10.0 + i * j)
        for i, b in enumerate("1234")
        for j, t in enumerate(["T10", "T2", "check"])
    ]
    return pd.DataFrame(rows, columns=["rep", "trt", "y"], index=range(2, 14))


def design(frame, **options):
    return make_design(frame, **({"response": "y", "treatment": "trt", "block": "rep"} | options))


def test_factors_come_in_natural_order_with_the_check_first():
    made = design(trial(), control="check")
    assert made.treatments == ("check", "T2", "T10")
    assert made.kind == "randomised complete block"


def test_an_ordered_categorical_keeps_the_order_its_owner_gave_it():
    frame = trial()
    frame["trt"] = pd.Categorical(frame["trt"], ["check", "T10", "T2"], ordered=True)
    assert design(frame).treatments == ("check", "T10", "T2")


def test_missing_cells_are_left_out_with_their_row_and_reason():
    frame = trial()
    frame.loc[5, "y"] = np.nan
    frame.loc[9, "rep"] = ""
    made = design(frame)
    assert [(d.row, d.reason) for d in made.dropped] == [
        (5, "'y' is missing"),
        (9, "'rep' is missing"),
    ]
    assert made.rows == 12
    assert list(made.frame.index) == [2, 3, 4, 6, 7, 8, 10, 11, 12, 13]


def test_numbers_kept_as_text_are_read_as_numbers():
    frame = trial()
    frame["y"] = frame["y"].astype(str)
    assert design(frame).frame["response"].dtype == float


def change(**values):
    frame = trial()
    for column, value in values.items():
        frame[column] = frame[column].astype(object)
        frame.loc[5, column] = value
    return frame


def test_the_frame_given_is_never_changed():
    frame = trial()
    before = frame.copy()
    design(frame)
    pd.testing.assert_frame_equal(frame, before)


@pytest.mark.parametrize(
    ("frame", "options", "words"),
    [
        (change(y="lots"), {}, ["'y'", "row 5", "'lots'", "text", "Correct the cell"]),
        (change(y=np.inf), {}, ["'y'", "row 5", "inf", "infinite"]),
        (change(y=-1.0), {"family": "count"}, ["'y'", "row 5", "-1.0", "negative"]),
        (change(y=0.0), {"family": "lognormal"}, ["'y'", "row 5", "no logarithm"]),
        (trial().assign(y=3.0), {}, ["'y'", "same value (3)"]),
        (trial().assign(y=3.0), {"family": "count"}, ["'y'", "same value (3)"]),
        (
            trial().assign(y=3.0, n=4.0),
            {"trials": "n", "family": "proportion"},
            ["'y'", "same value (0.75)"],
        ),
        (trial().assign(trt="check"), {}, ["'trt'", "single treatment ('check')"]),
        (trial().assign(rep="1"), {}, ["'rep'", "single block ('1')", "Leave out block"]),
        (trial().assign(y=np.nan), {}, ["'y'", "no value"]),
        (trial().assign(y=lambda f: f["y"].where(f["trt"] != "T2")), {}, ["'T2'", "no value"]),
        (trial().assign(rep=lambda f: f["trt"]), {}, ["confounded", "'rep'"]),
        (change(trt="check"), {}, ["Rows 5, 7", "trt 'check'", "average"]),
        (trial(), {"control": "untreated"}, ["'trt'", "'untreated'", "check, T2, T10"]),
        (trial(), {"response": "yeild"}, ["no column 'yeild'", "columns are: rep, trt, y"]),
        (trial(), {"block": "trt"}, ["'trt'", "both as"]),
        (trial(), {"family": "gamma"}, ["'gamma'", "normal, lognormal"]),
        (trial(), {"family": "proportion"}, ["needs trials"]),
        (trial(), {"trials": "y2"}, ["no column 'y2'", "Did you mean 'y'"]),
        (trial().assign(n=9.0), {"trials": "n"}, ["'n'", "family 'proportion'"]),
        (trial().assign(n=9.0), {"trials": "n", "family": "proportion"}, ["'y'", "more than"]),
        (trial().assign(a=0.0), {"exposure": "a", "family": "count"}, ["'a'", "not positive"]),
        (trial(), {"row": "rep", "block": None}, ["Latin square", "both row and column"]),
        (trial().assign(a="x"), {"whole_plot": "a", "block": None}, ["needs block"]),
        (trial().assign(y=pd.Timestamp("2024-05-01")), {}, ["'y'", "dates"]),
        (trial().iloc[3:6], {"block": None}, ["one plot only"]),
        (trial().iloc[:0], {}, ["no rows"]),
    ],
)
def test_bad_input_is_refused_naming_column_value_and_remedy(frame, options, words):
    with pytest.raises(AnalysisError) as caught:
        design(frame, **options)
    for word in words:
        assert word in str(caught.value)


def test_nothing_found_anywhere_is_an_answer_of_counts_and_shares():
    nothing = trial().assign(y=0.0, n=9.0)
    assert design(nothing, family="count").family == "count"
    assert design(nothing.assign(y=9.0), family="proportion", trials="n").family == "proportion"


def test_a_treatment_twice_in_a_block_needs_plot_labels_that_tell_the_plots_apart():
    frame = change(trt="check")
    assert len(design(frame.assign(plot=range(12))).frame) == 12
    with pytest.raises(AnalysisError, match=r"Rows 5, 7 are all.*column 'plot'"):
        design(frame.assign(plot="7"))


def test_something_other_than_a_table_is_refused():
    with pytest.raises(AnalysisError, match="dict, not a table"):
        design({"y": [1, 2]})
