"""Names are looked up, never run; filters are few; a misspelt name is offered its neighbours."""

import pytest

from tests.narrative.facts_for_tests import BETTER, facts_of
from trialkit.errors import TrialkitError
from trialkit.narrative.names import look_up, names_table
from trialkit.narrative.numbers import NBSP

FACTS = facts_of(BETTER)


@pytest.mark.parametrize(
    ("written", "text"),
    [
        ("netting.beetles.change", "62 % lower"),
        (" netting.beetles.change | round(1) ", "62.0 % lower"),
        ("netting.beetles.change|size", "62 %"),
        ("netting.beetles.change|size|round(1)", "62.0 % lower"),
        ("netting.beetles.change|number", "−62"),
        ("netting.beetles.mean", "12.3 insect-days per plant"),
        ("netting.beetles.mean|round", "12 insect-days per plant"),
        ("netting.beetles.mean|round(2)|number", "12.34"),
        ("site.name", "Alder Bench"),
        ("netting.beetles.plots", "4"),
    ],
)
def test_a_name_reads_as_a_person_would_write_it(written, text):
    assert look_up(written, FACTS).text.replace(NBSP, " ") == text


@pytest.mark.parametrize(
    ("written", "told"),
    [
        ("netting.beetles.chnage", "netting.beetles.change"),
        ("neting.beetles.change", "netting.beetles.change"),
        ("__import__('os')", "lists every name"),
        ("netting.beetles.change|bold", "Filters are: round(N), size, number, capital"),
        ("netting.beetles.change|round(x)", "round needs a number from 0 to 6"),
        ("site.name|round(1)", "round is for numbers"),
    ],
)
def test_what_cannot_be_looked_up_says_what_can(written, told):
    with pytest.raises(TrialkitError) as raised:
        look_up(written, FACTS)
    assert told in str(raised.value)


def test_the_table_lists_every_name_ready_to_copy():
    table = names_table(FACTS)
    assert len(table.rows) == len(FACTS.values)
    assert ("{eval}`site.name`", "Alder Bench", "") in table.rows
