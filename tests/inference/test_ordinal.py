"""Scores: Friedman's test by its own definition, medians, and differences in score points."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.inference.analyze import analyze
from trialkit.inference.design import make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.ordinal import fit_ordinal

SCORES = np.array([[7, 3, 2, 5], [6, 4, 2, 5], [8, 3, 3, 4], [6, 2, 1, 6], [9, 5, 2, 7]])


def frame_of(scores: np.ndarray) -> pd.DataFrame:
    blocks, k = scores.shape
    return pd.DataFrame({"score": scores.ravel().astype(float), "t": list("abcd")[:k] * blocks,
                         "rep": np.repeat(np.arange(blocks), k)})  # fmt: skip


def fit(frame: pd.DataFrame, block: str | None = "rep") -> ModelResult:
    return fit_ordinal(make_design(frame, response="score", treatment="t", block=block,
                                   family="ordinal", control="a"))  # fmt: skip


def test_the_statistic_is_friedmans_with_ties():
    found, expected = fit(frame_of(SCORES)), stats.friedmanchisquare(*SCORES.T)
    assert found.extra["rank_statistic"] == pytest.approx(expected.statistic, rel=1e-9)
    assert found.extra["p_chi_square"] == pytest.approx(expected.pvalue, rel=1e-9)


def test_the_f_is_iman_and_davenports():
    chi, result = stats.friedmanchisquare(*SCORES.T).statistic, fit(frame_of(SCORES))
    row = result.tests.iloc[0]
    assert (row["df1"], row["df2"]) == (3, 12)
    assert row["F"] == pytest.approx(4 * chi / (5 * 3 - chi), rel=1e-9)


def test_without_blocks_the_statistic_is_kruskal_and_walliss():
    found, expected = fit(frame_of(SCORES), block=None), stats.kruskal(*SCORES.T)
    assert found.extra["rank_statistic"] == pytest.approx(expected.statistic, rel=1e-9)


def test_a_lost_plot_leaves_a_test_and_finite_differences():
    result = fit(frame_of(SCORES).drop(index=[6]))
    assert 0 < result.tests["p"].iloc[0] < 0.05
    assert np.isfinite(result.means.estimate).all()


def test_a_shift_of_one_treatment_shifts_its_difference_and_nothing_else():
    moved = SCORES + np.array([0, 2, 0, 0])
    one, other = fit(frame_of(SCORES)).means.estimate, fit(frame_of(moved)).means.estimate
    assert (other - other[0]) - (one - one[0]) == pytest.approx([0, 2, 0, 0], abs=1e-9)


def test_medians_are_printed_with_the_chance_that_their_range_holds():
    result = fit(frame_of(SCORES))
    assert result.extra["median: b"] == 3
    assert "b 3 (2 to 5, 93.8 %)" in result.notes[2]


def test_the_analysis_gives_differences_in_score_points():
    done = analyze(frame_of(SCORES), response="score", treatment="t", block="rep",
                   family="ordinal", control="a", adjust="none")  # fmt: skip
    row = done.contrasts.set_index("treatment").loc["c"]
    assert row["low"] < -5 < row["high"] < -3
