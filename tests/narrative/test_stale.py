"""Moved numbers: more than rounding counts, confirming settles it."""

import pytest

from tests.narrative.facts_for_tests import BETTER, WORSE, facts_of
from trialkit.errors import TrialkitError
from trialkit.narrative.stale import Moved, confirmed, has_moved, marked, moved_in, quoted_in
from trialkit.narrative.state import Agreed, Quoted, State

THEN, NOW = facts_of(BETTER), facts_of(WORSE)
TEXT = "Beetles: {eval}`netting.beetles.change|round(1)`, not {eval}`nobody.knows`."


def state_of(**changed):
    own = {"by_person": True, "quoted": quoted_in(TEXT, THEN)} | changed
    return State(texts=(Agreed("found", TEXT, "Template.", **own),))


def test_values_are_remembered_as_they_were_written():
    (name, quoted), *rest = quoted_in(TEXT, THEN).items()
    assert (name, quoted.number, rest) == ("netting.beetles.change|round(1)", -62.0, [])


def test_values_of_the_report_at_hand_come_before_those_of_today():
    (quoted,) = quoted_in(TEXT, NOW, before=THEN).values()
    assert quoted.number == -62.0


@pytest.mark.parametrize(
    ("before", "now", "moved"),
    [
        (Quoted("62 %", 62.4), Quoted("62 %", 61.6), False),
        (Quoted("62 %", 62.49), Quoted("63 %", 62.51), False),
        (Quoted("62 %", 62.0), Quoted("63 %", 63.0), True),
        (Quoted("not settled"), Quoted("worthwhile"), True),
        (Quoted("1.25", 1.25), Quoted("1.27", 1.27), True),
    ],
)
def test_only_more_than_rounding_counts(before, now, moved):
    assert has_moved(before, now) is moved


def test_the_templates_own_text_is_never_stale():
    assert moved_in(state_of(by_person=False), NOW) == ()
    assert moved_in(state_of(deleted=True), NOW) == ()
    assert len(moved_in(state_of(), NOW)) == 1


def test_confirming_settles_it_and_names_must_be_known():
    assert moved_in(confirmed(state_of(), NOW), NOW) == ()
    assert moved_in(confirmed(state_of(), NOW, ["found"]), NOW) == ()
    with pytest.raises(TrialkitError, match="Edited texts are: found"):
        confirmed(state_of(), NOW, ["fuond"])


def test_the_mark_stands_below_the_heading_with_both_values():
    text = marked("## Found\n\nWords.", [Moved("found", "a.b", "1 < 2", "3")])
    heading, block, words = text.split("\n\n")
    assert heading == "## Found"
    assert "a.b: 1 &lt; 2 then, <strong>3</strong> now" in block
    assert words.strip() == "Words."
    assert marked("Words.", []) == "Words."
