import pandas as pd

from trialkit.measures.visits import common_window, last_whole_round, rounds, usual_gap


def _rows(*pairs):
    rows = pd.DataFrame(pairs, columns=["plot", "date"])
    return rows.assign(date=pd.to_datetime(rows["date"]))


def test_days_in_a_row_without_a_repeated_plot_are_one_round():
    rows = _rows(("a", "2025-06-02"), ("b", "2025-06-03"), ("a", "2025-06-09"), ("b", "2025-06-10"))
    assert [visit.last.day for visit in rounds(rows)] == [3, 10]


def test_a_plot_that_comes_up_again_the_next_day_begins_a_new_round():
    rows = _rows(("a", "2025-06-02"), ("a", "2025-06-03"), ("b", "2025-06-03"))
    assert [set(visit.plots) for visit in rounds(rows)] == [{"a"}, {"a", "b"}]


def test_the_last_whole_round_is_the_last_that_came_to_every_plot():
    rows = _rows(("a", "2025-06-02"), ("b", "2025-06-02"), ("a", "2025-06-09"))
    assert last_whole_round(rows, ["a", "b"]) == pd.Timestamp("2025-06-02")
    assert last_whole_round(rows, ["a", "b", "c"]) is None


def test_the_usual_gap_is_the_median_over_plots():
    rows = _rows(("a", "2025-06-01"), ("a", "2025-06-08"), ("a", "2025-06-15"), ("b", "2025-06-02"))
    assert usual_gap(rows).days == 7


def test_the_common_window_is_what_half_of_the_plots_share():
    rows = _rows(
        *((plot, day) for plot in "abc" for day in ("2025-06-01", "2025-06-08")),
        ("d", "2025-05-01"),
        ("d", "2025-08-01"),
    )
    window = common_window(rows)
    assert (window.first, window.last) == (pd.Timestamp("2025-06-01"), pd.Timestamp("2025-06-08"))
