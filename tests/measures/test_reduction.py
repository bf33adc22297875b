import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.errors import AnalysisError
from trialkit.measures import abbott, henderson_tilton

counts = st.floats(0.1, 1e6)


def test_abbott_on_half_dead_check_and_98_percent_dead_treated_is_96():
    # Source: common textbook use of Abbott 1925; arithmetic 1 - 0.02 / 0.50, own.
    assert abbott(check=100 - 50, treated=100 - 98) == 96.0


def test_henderson_tilton_with_rising_check_and_falling_treated_is_80():
    # Source: own arithmetic, 1 - (30 / 100) * (100 / 150).
    assert henderson_tilton(100, 150, 100, 30) == 80.0


@given(counts, counts, counts)
def test_henderson_tilton_is_abbott_where_both_began_alike(before, check_after, after):
    paired = henderson_tilton(before, check_after, before, after)
    assert paired == pytest.approx(abbott(check_after, after), rel=1e-9, abs=1e-6)


def test_more_in_the_treated_than_in_the_check_is_a_negative_reduction():
    assert abbott(10, 15) == -50.0


def test_an_empty_check_has_no_reduction():
    assert np.isnan(abbott([0.0, 10.0], [0.0, 5.0])).tolist() == [True, False]


def test_a_negative_count_is_refused():
    with pytest.raises(AnalysisError, match="negative"):
        abbott(-1, 2)
