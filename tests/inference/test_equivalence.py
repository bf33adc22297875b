"""Verdicts depend on the interval and the margin alone; two one-sided tests agree with them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.errors import AnalysisError
from trialkit.inference.equivalence import two_one_sided_tests, verdict_of


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (2.1, 9.0, "worthwhile"),
        (-9.0, -2.1, "worthwhile"),
        (2.0, 9.0, "some effect"),
        (-9.0, -0.1, "some effect"),
        (-1.9, 1.9, "no worthwhile difference"),
        (0.1, 1.9, "no worthwhile difference"),
        (-2.0, 1.0, "not settled"),
        (0.0, 5.0, "not settled"),
        (-np.inf, -3.0, "worthwhile"),
        (-np.inf, -1.0, "some effect"),
        (None, 1.0, "not settled"),
        (np.nan, np.nan, "not settled"),
    ],
)
def test_each_interval_has_its_verdict(low, high, verdict):
    assert verdict_of(low, high, 2.0) == verdict


def test_ratios_have_limits_of_their_own_around_one():
    assert verdict_of(0.5, 0.75, (0.8, 1.25), null=1.0) == "worthwhile"
    assert verdict_of(0.85, 1.1, (0.8, 1.25), null=1.0) == "no worthwhile difference"


def test_a_margin_that_is_negative_is_refused():
    with pytest.raises(AnalysisError, match="does not enclose"):
        verdict_of(0.0, 1.0, -2.0)


@given(st.floats(-5, 5), st.floats(0, 5), st.floats(0, 3))
def test_a_mirrored_interval_has_the_same_verdict(low, width, margin):
    high = low + width
    assert verdict_of(low, high, margin) == verdict_of(-high, -low, margin)


@given(st.floats(-3, 3), st.floats(0.05, 2), st.integers(3, 60))
def test_two_one_sided_tests_at_a_half_level_agree_with_the_interval(estimate, se, df):
    from scipy import stats

    half = stats.t.ppf(0.975, df) * se
    inside = verdict_of(estimate - half, estimate + half, 2.0) == "no worthwhile difference"
    assert (two_one_sided_tests(estimate, se, df, 2.0).p < 0.025) == inside


def test_a_standard_error_of_zero_is_refused():
    with pytest.raises(AnalysisError, match="above zero"):
        two_one_sided_tests(1.0, 0.0, 5, 2.0)
