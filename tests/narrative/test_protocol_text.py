"""Another protocol, in words."""

import pytest

from trialkit.findings import Standing
from trialkit.narrative.protocol_text import protocol_cautions, protocol_table


def standing(decision="", reason="", rules=("netting_off",), treatment="netting"):
    return Standing(2025, "cedar_flat", treatment, rules, decision, reason)


def said(study, one):
    (caution,) = protocol_cautions(study, [one])
    return caution


def test_an_open_decision_is_asked_for(example_study):
    caution = said(example_study, standing())
    assert caution.startswith("Fine-mesh netting to first bloom at Cedar Flat in 2025 followed")
    assert "nobody has decided yet" in caution
    assert "keep or exclude, with the reason" in caution


@pytest.mark.parametrize(
    ("decision", "words"),
    [
        ("keep", "is kept in the combined answer: it rained."),
        ("exclude", "is left out of the combined answer: it rained."),
    ],
)
def test_a_decision_is_said_with_its_reason(example_study, decision, words):
    assert said(example_study, standing(decision, "it rained")).endswith(words)


def test_a_decision_that_no_rule_called_for_claims_no_departure(example_study):
    caution = said(example_study, standing("exclude", "it rained", rules=()))
    assert "another protocol" not in caution


def test_markup_in_a_reason_is_written_out(example_study):
    caution = said(example_study, standing("keep", "<b>x</b> {eval}`y`"))
    assert "\\<b\\>" in caution
    assert "\\{eval\\}\\`y\\`" in caution


def test_the_table_names_site_treatment_rule_and_decision(example_study):
    (row,) = protocol_table(example_study, [standing("keep", "it rained", treatment="")]).rows
    assert row == (
        "Cedar Flat 2025: every plot", "Netting comes off at first bloom", "kept: it rained"
    )  # fmt: skip


def test_no_other_protocol_is_said_too(example_study):
    assert "followed the protocol" in protocol_table(example_study, []).to_text()
