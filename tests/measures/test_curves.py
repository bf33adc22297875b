import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.errors import AnalysisError
from trialkit.measures import area_under_progress_curve, insect_days
from trialkit.measures.curves import areas_by_plot

# Visits of a plot: steps of 1 to 20 days between them and a mean count at each.
steps = st.lists(st.integers(1, 20), min_size=1, max_size=12)


@st.composite
def visits(draw):
    days = np.cumsum([0, *draw(steps)]).astype(float)
    size = len(days)
    counts = draw(st.lists(st.floats(0, 1e4), min_size=size, max_size=size))
    return days, np.array(counts)


def test_area_of_the_published_teaching_example_is_23_75():
    # Source: worked example of a plant-pathology society's teaching page on disease progress
    # curves (severity 1, 2, 7, 7.5 at times 0, 2, 5, 6). Value quoted second-hand, page not seen.
    assert area_under_progress_curve([0, 2, 5, 6], [1, 2, 7, 7.5]) == 23.75


def test_insect_days_equal_insects_times_days_at_a_steady_count():
    assert insect_days([0, 3, 10], [4, 4, 4]) == 40.0


@given(visits())
def test_doubling_the_counts_doubles_insect_days(season):
    days, counts = season
    assert insect_days(days, 2 * counts) == pytest.approx(2 * insect_days(days, counts))


@given(visits())
def test_shifting_all_dates_changes_nothing(season):
    days, counts = season
    assert insect_days(days + 100, counts) == pytest.approx(insect_days(days, counts))


@given(visits(), st.floats(0.01, 0.99), st.integers(0, 100))
def test_a_visit_on_the_straight_line_between_two_changes_nothing(season, share, which):
    days, counts = season
    at = which % (len(days) - 1)
    day = days[at] + share * (days[at + 1] - days[at])
    count = np.interp(day, days, counts)
    more = insect_days(np.insert(days, at + 1, day), np.insert(counts, at + 1, count))
    assert more == pytest.approx(insect_days(days, counts))


@given(visits(), st.randoms(use_true_random=False))
def test_areas_by_plot_equal_the_plain_function_whatever_the_order_of_rows(season, chance):
    days, counts = season
    dates = pd.Timestamp("2025-06-01") + pd.to_timedelta(days, unit="D")
    one = pd.DataFrame({"plot": "a", "date": dates, "mean": counts})
    two = pd.DataFrame({"plot": "b", "date": dates, "mean": counts[::-1]})
    rows = pd.concat([one, two], ignore_index=True)
    order = list(range(len(rows)))
    chance.shuffle(order)
    areas = areas_by_plot(rows.iloc[order], "mean")
    assert areas["a"] == pytest.approx(insect_days(days, counts))
    assert areas["b"] == pytest.approx(insect_days(days, counts[::-1]))


@pytest.mark.parametrize(
    ("days", "counts", "said"),
    [
        ([0], [1], "two visits"),
        ([0, 1], [1, 2, 3], "as many times"),
        ([0, 0], [1, 2], "increase"),
        ([0, 1], [1, np.nan], "missing"),
        ([0, 1], [1, -2], "negative"),
    ],
)
def test_visits_that_make_no_area_are_refused_in_words(days, counts, said):
    with pytest.raises(AnalysisError, match=said):
        insect_days(days, counts)
