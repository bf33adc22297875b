"""The default text differs where the evidence differs, and its own claims always stand."""

from dataclasses import replace

import pytest

from tests.narrative.facts_for_tests import BETTER, UNSETTLED, WORSE, facts_of
from trialkit.narrative.default_text import default_sentences
from trialkit.narrative.fill import fill
from trialkit.narrative.values import count

KINDS = {
    "worthwhile": BETTER,
    "worse": WORSE,
    "some": replace(BETTER, high=-8.0, verdict="some effect"),
    "none": replace(BETTER, low=-20.0, high=10.0, verdict="no worthwhile difference",
                    direction="none"),
    "unsettled": UNSETTLED,
    "bound": replace(BETTER, effect=-100.0, low=-100.0, high=-85.0, bound="upper"),
    "bound only": replace(BETTER, low=-100.0, high=15.0, verdict="not settled", direction="none",
                          bound="upper"),
}  # fmt: skip


def said(*effects, name="findings", **changed):
    facts = facts_of(*effects, **changed)
    return fill(facts.sentences[name], facts)


@pytest.mark.parametrize("name", ["findings", "grower"])
@pytest.mark.parametrize("kind", KINDS)
def test_every_default_claim_is_supported_and_every_number_is_known(kind, name):
    filled = said(KINDS[kind], name=name)
    assert filled.claims
    assert all(claim.is_supported for claim in filled.claims)
    assert not filled.wrong


@pytest.mark.parametrize("name", ["findings", "grower"])
def test_each_kind_of_evidence_has_words_of_its_own(name):
    texts = {said(effect, name=name).markdown for effect in KINDS.values()}
    assert len(texts) >= (7 if name == "findings" else 5)


def test_a_worthwhile_effect_gives_size_interval_and_margin():
    text = said(BETTER).markdown.replace("\u00a0", " ")
    assert "came out lower with fine-mesh netting than in the untreated check, by 62 %" in text
    assert "95 % interval" in text
    assert "more than the difference that matters (30 %)" in text


def test_a_loss_is_not_praised():
    assert "change for the worse" in said(WORSE).markdown
    assert "setback" in said(WORSE, name="grower").markdown


@pytest.mark.parametrize("kind", KINDS)
def test_no_sentence_says_significant_or_p(kind):
    text = said(KINDS[kind]).markdown
    assert "significan" not in text
    assert "p <" not in text


def test_an_unfinished_season_and_lost_plots_come_first():
    lost = {"plots.lost": count(2), "plots.laid_out": count(20)}
    facts = facts_of(BETTER, season_words="Counts run to 3 June.")
    facts = replace(facts, values={**facts.values, **lost})
    told = default_sentences(facts, "Counts run to 3 June.")
    first, second, *_ = fill(told["findings"], facts).markdown.split("\n")
    assert first == "- **Preliminary.** Counts run to 3 June."
    assert second.startswith("- 2 of 20 plots were lost")
    assert "not finished" in told["grower"]


def test_every_sentence_begins_with_a_capital_letter():
    for effect in KINDS.values():
        for text in said(effect).markdown.split(". "):
            first = text.lstrip("- (")[:1]
            assert not first.isalpha() or first.isupper(), text


def test_nothing_analysed_is_said_as_such():
    assert "Nothing could be analysed yet" in said().markdown
