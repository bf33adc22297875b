"""The verdict words of an interval against a margin, ends infinite or not."""

import math

import pytest

from trialkit.findings import judge


@pytest.mark.parametrize(
    ("low", "high", "word", "direction"),
    [
        (-72, -48, "worthwhile", "better"),
        (48, 72, "worthwhile", "worse"),
        (-72, -10, "some effect", "better"),
        (5, 40, "some effect", "worse"),
        (-20, 10, "no worthwhile difference", "none"),
        (-12, 30, "not settled", "none"),
        (-math.inf, -60, "worthwhile", "better"),
        (-math.inf, 10, "not settled", "none"),
        (2, 9, "no worthwhile difference", "worse"),
    ],
)
def test_a_verdict_comes_from_the_interval_alone(low, high, word, direction):
    assert judge(low, high, 25, lower_is_better=True) == (word, direction)


def test_where_more_is_better_the_direction_turns_round():
    assert judge(30, 60, 25, lower_is_better=False).direction == "better"
