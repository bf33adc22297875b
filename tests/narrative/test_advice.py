"""Money and recommendations in text: quoted by name, and every claim of them checked."""

from dataclasses import replace

import pytest

from tests.narrative.facts_for_tests import BETTER, UNSETTLED, facts_of
from trialkit.errors import TrialkitError
from trialkit.narrative.advice import advice_sentences, money_sentences
from trialkit.narrative.claims import judge_claim
from trialkit.narrative.conditions import read_condition
from trialkit.narrative.facts import Decision, Payoff, read_facts
from trialkit.narrative.fill import fill
from trialkit.narrative.values import words

PAYOFFS = {
    "netting": Payoff("pays", "a gain", {"clover": ("more", "320 (120 to 520)")}),
    "clover": Payoff("not settled", "anything", {"netting": ("less", "-320")}),
}
DECISIONS = {
    "netting": Decision("recommend", "by the rules: recommend"),
    "clover": Decision("keep testing", "by the rules: keep testing"),
}
VALUES = {
    f"{name}.{key}": words(key)
    for name in ("netting", "clover")
    for key in ("gain", "gain_interval", "chance_elsewhere")
}


@pytest.fixture
def facts():
    plain = facts_of(BETTER, UNSETTLED)
    values = {**plain.values, **VALUES}
    return replace(plain, payoffs=PAYOFFS, decisions=DECISIONS, values=values)


@pytest.mark.parametrize(
    ("condition", "standing"),
    [
        ("netting pays", "supported"),
        ("netting does not pay", "contradicted"),
        ("netting may pay", "contradicted"),
        ("clover pays", "not settled"),
        ("clover does not pay", "not settled"),
        ("clover may pay", "supported"),
        ("netting returns more than clover", "supported"),
        ("clover returns more than netting", "contradicted"),
        ("netting returns more than check", "cannot be judged"),
        ("netting pays at every site", "cannot be judged"),
        ("netting is recommended", "supported"),
        ("netting is recommended with conditions", "contradicted"),
        ("clover needs more testing", "supported"),
        ("clover is not recommended", "contradicted"),
        ("clover is recommended", "contradicted"),
    ],
)
def test_a_claim_on_money_or_advice_is_judged_by_what_was_worked_out(facts, condition, standing):
    assert judge_claim("so it is", condition, facts).standing == standing


def test_where_nothing_is_recommended_a_claim_of_it_cannot_be_judged(facts):
    plain = replace(facts, decisions={}, payoffs={})
    for condition in ("netting is recommended", "netting pays"):
        assert judge_claim("so", condition, plain).standing == "cannot be judged"


def test_nothing_may_stand_after_a_claim_on_advice(facts):
    with pytest.raises(TrialkitError, match="nothing may stand after 'is recommended'"):
        read_condition("netting is recommended beetles", facts)
    with pytest.raises(TrialkitError, match="no treatment 'netings'"):
        read_condition("netting returns more than netings", facts)


def test_every_default_sentence_is_supported_by_its_own_facts(facts):
    sentences = [*money_sentences(facts), *advice_sentences(facts)]
    assert len(sentences) == 4
    for sentence in sentences:
        filled = fill(sentence, facts)
        assert [claim.standing for claim in filled.claims] == ["supported"]
        assert "{eval}" not in filled.markdown


def test_facts_come_back_with_money_and_decisions(facts):
    back = read_facts(facts.to_bytes(), "facts.json")
    assert back.payoffs == facts.payoffs
    assert back.decisions == facts.decisions


def test_facts_without_money_say_that_nothing_was_worked_out(facts):
    (said,) = money_sentences(replace(facts, payoffs={}))
    assert "was not worked out" in said
