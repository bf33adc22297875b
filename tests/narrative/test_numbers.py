"""Numbers as people write them."""

import math

import pytest

from trialkit.narrative.numbers import NBSP, brief, change, change_range, decimals_for, fixed


def plain(text):
    return text.replace(NBSP, " ")


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        (-72, -48, "48 to 72 % lower"),
        (48, 72, "48 to 72 % higher"),
        (-12, 30, "12 % lower to 30 % higher"),
        (-math.inf, -80, "80 % lower or more"),
        (20, math.inf, "20 % higher or more"),
        (-math.inf, 15, "no limit to 15 % higher"),
        (-5, math.inf, "5.0 % lower to no limit"),
        (-math.inf, math.inf, "anything at all"),
    ],
)
def test_an_interval_of_a_change_reads_as_words(low, high, words):
    assert plain(change_range(low, high, "percent")) == words


def test_a_change_names_its_unit_and_direction():
    assert plain(change(3.21, "points")) == "3.2 points higher"
    assert plain(change(-1234.0, "lb/acre")) == "1,234 lb/acre lower"
    assert change(0.0, "percent") == "no change"


def test_minus_zero_is_written_as_zero():
    assert fixed(-0.0001, 2) == "0.00"


def test_missing_and_endless_numbers_are_told_apart():
    assert fixed(math.nan, 1) == "–"
    assert fixed(None, 1) == "–"
    assert fixed(math.inf, 1) == "no limit"


def test_three_significant_digits_whatever_the_size():
    assert [brief(x) for x in (0.00123, 0.123, 12.3, 12345.0)] == [
        "0.00123",
        "0.123",
        "12.3",
        "12,345",
    ]
    assert decimals_for(0.0) == 1
