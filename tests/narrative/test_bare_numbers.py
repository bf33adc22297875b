"""Typed numbers beside a unit are found, with the name that they probably mean."""

import pytest

from tests.narrative.facts_for_tests import BETTER, facts_of
from trialkit.narrative.bare_numbers import bare_numbers

FACTS = facts_of(BETTER)


@pytest.mark.parametrize(
    ("text", "written", "name"),
    [
        ("Netting cut them by 62 %.", "62 %", "netting.beetles.change"),
        ("Netting cut them by 60 percent.", "60 percent", "netting.beetles.change"),
        ("about 12.3 insect-days per plant", "12.3 insect-days per plant", "netting.beetles.mean"),
        ("a margin of 30%", "30%", "netting.beetles.margin"),
        ("only 7 % of it", "7 %", ""),
        ("5 points more", "5 points", ""),
    ],
)
def test_a_typed_number_is_told_with_its_probable_name(text, written, name):
    (found,) = bare_numbers(f"First line.\n{text}", FACTS)
    assert (found.line, found.written, found.name) == (2, written, name)


@pytest.mark.parametrize(
    "text",
    [
        "{eval}`netting.beetles.change` fewer",
        "{claim}`Less <netting lowers beetles by at least 30 %>`",
        "`62 %` as code",
        "```\n62 %\n```",
        "in 2025, 4 blocks of plot 12",
        "version 1.2.62 %",
    ],
)
def test_names_code_and_plain_counts_are_left_alone(text):
    assert bare_numbers(text, FACTS) == ()
