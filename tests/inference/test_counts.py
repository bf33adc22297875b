"""Counts: ratios of totals, bounds instead of infinite errors, indifference to order."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trialkit.inference.counts import fit_counts
from trialkit.inference.design import make_design
from trialkit.inference.estimates import ModelResult

TREATMENTS = ("check", "net", "mulch", "clover", "film")


def trial(counts: object, treatments: int = 5) -> pd.DataFrame:
    """Rows are blocks, columns treatments."""
    table = np.asarray(counts, dtype=float).reshape(-1, treatments)
    blocks = len(table)
    return pd.DataFrame({
        "insects": table.ravel(),
        "treatment": list(TREATMENTS[:treatments]) * blocks,
        "block": np.repeat(np.arange(1, blocks + 1), treatments),
    })  # fmt: skip


def fit(frame: pd.DataFrame, **options: str) -> ModelResult:
    design = make_design(frame, response="insects", treatment="treatment", block="block",
                         family="count", control="check", **options)  # fmt: skip
    return fit_counts(design)


CLUMPED = [[26, 10, 7, 5, 9], [13, 6, 1, 12, 4], [18, 20, 2, 13, 8], [7, 11, 3, 13, 2]]
NO_NET = [[26, 0, 7, 5, 9], [13, 0, 1, 12, 4], [18, 0, 2, 13, 8], [7, 0, 3, 13, 2]]


def log_ratio(result: ModelResult, label: str) -> float:
    mean = dict(zip(result.means.treatments, result.means.estimate, strict=True))
    return float(mean[label] - mean["check"])


def test_ratio_is_that_of_the_totals_when_no_plot_is_lost():
    result = fit(trial(CLUMPED))
    assert np.exp(log_ratio(result, "net")) == pytest.approx(47 / 64, rel=1e-9)


def test_a_treatment_without_insects_gets_a_bound_and_no_huge_standard_error():
    result = fit(trial(NO_NET))
    bound = result.bounds["net", "check"]
    assert bound.low == 0
    assert 0 < bound.high < 0.5
    assert float(bound.p or 1) < 0.01
    assert np.sqrt(np.diag(result.means.covariance)).max() < 2
    assert any("Nothing was found in any plot of net" in note for note in result.notes)


def test_a_treatment_without_insects_leaves_the_others_as_they_were():
    with_net, without = fit(trial(NO_NET)), fit(trial(NO_NET).query("treatment != 'net'"))
    others = [label != "net" for label in with_net.means.treatments]
    assert with_net.means.estimate[others] == pytest.approx(without.means.estimate, rel=1e-9)
    assert with_net.means.covariance[np.ix_(others, others)] == pytest.approx(
        without.means.covariance, rel=1e-9
    )


def test_a_block_without_insects_changes_no_ratio():
    empty, full = fit(trial([*CLUMPED, [0] * 5])), fit(trial(CLUMPED))
    assert log_ratio(empty, "mulch") == pytest.approx(log_ratio(full, "mulch"), rel=1e-9)
    assert any("1 block held nothing to compare" in note for note in empty.notes)


def test_no_insect_anywhere_is_said_in_words_with_a_bound():
    result = fit(trial(np.zeros((4, 5))))
    assert "No insect was found in any plot" in result.notes[0]
    assert result.bounds["net", ""].high == pytest.approx(-np.log(0.05) / 4)
    assert result.tests.empty


@pytest.mark.parametrize("counts", [
    [[3, 2, 0, 0, 0], [0] * 5, [0] * 5, [0] * 5],
    [[1, 0, 0, 0, 0], [0] * 5, [0] * 5],
    [[4, 0, 0, 0, 0], [3, 0, 0, 0, 0], [6, 0, 0, 0, 0]],
    [[5, 0, 0, 0, 0], [0, 4, 0, 0, 0], [0, 0, 3, 0, 0]],
])  # fmt: skip
def test_however_few_insects_all_numbers_are_finite(counts):
    result = fit(trial(counts))
    assert np.isfinite(result.means.estimate).all()
    assert np.sqrt(np.diag(result.means.covariance)).max() < 10
    assert result.tests[["F", "p"]].notna().all(axis=None)


tables = st.lists(
    st.lists(st.integers(0, 40), min_size=5, max_size=5), min_size=3, max_size=4
).filter(lambda rows: np.min(np.sum(rows, 0)) > 0 and np.min(np.sum(rows, 1)) > 0)


@settings(max_examples=25, deadline=None)
@given(tables, st.floats(0.1, 50))
def test_scaling_the_exposure_moves_means_but_no_ratio(table, factor):
    one = fit(trial(table).assign(plants=2.0), exposure="plants")
    other = fit(trial(table).assign(plants=2.0 * factor), exposure="plants")
    assert other.means.estimate == pytest.approx(one.means.estimate - np.log(factor), abs=1e-6)
    assert other.means.covariance == pytest.approx(one.means.covariance, rel=1e-6, abs=1e-9)
    assert other.tests["p"].tolist() == one.tests["p"].tolist()


@settings(max_examples=25, deadline=None)
@given(tables, st.permutations(range(15)))
def test_the_order_of_rows_changes_nothing(table, order):
    frame = trial(table)
    one, other = fit(frame), fit(frame.iloc[[*order, *range(15, len(frame))]])
    assert other.means.estimate == pytest.approx(one.means.estimate, abs=1e-7)
    assert other.means.covariance == pytest.approx(one.means.covariance, rel=1e-6, abs=1e-9)
    assert other.tests["F"].tolist() == pytest.approx(one.tests["F"].tolist(), rel=1e-6)


def test_few_insects_give_intervals_more_degrees_of_freedom_and_say_so():
    few = fit(trial([[2, 1, 0, 1, 3], [1, 0, 2, 1, 1], [3, 1, 1, 0, 2]]))
    assert few.extra["residual_df"] == 8
    assert few.means.pair_df[0, 1] == few.extra["interval_df"] > 10
    assert any("residual degrees of freedom" in note for note in few.notes)
    many = fit(trial(100 * np.asarray(CLUMPED)))
    assert many.means.pair_df[0, 1] == pytest.approx(12, rel=0.01)
    assert not any("residual degrees of freedom" in note for note in many.notes)
