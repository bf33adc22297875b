"""Sentences differ where the evidence differs, and never claim more than the verdict."""

import math

import pytest

from trialkit.narrative.numbers import NBSP
from trialkit.narrative.phrases import CAUTIONS, DEFERRAL, cautions, effect_sentence

BASE = {
    "measure": "flea_beetle_days",
    "treatment": "netting",
    "effect": -62.0,
    "effect_low": -72.0,
    "effect_high": -48.0,
    "effect_unit": "percent",
    "margin": 30.0,
    "verdict": "worthwhile",
    "direction": "better",
    "bound": "",
}


def said(study, **changed):
    return effect_sentence({**BASE, **changed}, study).replace(NBSP, " ")


def test_a_worthwhile_effect_gives_size_interval_and_margin(example_study):
    text = said(example_study)
    assert "62 % lower" in text
    assert "95 % interval 48 to 72 % lower" in text
    assert "better than the 30 % that would matter" in text


def test_some_effect_says_that_it_may_be_too_small(example_study):
    text = said(example_study, effect_high=-8.0, verdict="some effect")
    assert "may be smaller than the 30 %" in text


def test_a_worthwhile_loss_is_not_praised(example_study):
    text = said(example_study, effect=62.0, effect_low=48.0, effect_high=72.0, direction="worse")
    assert "worse by more than the 30 % margin" in text
    assert "better" not in text


def test_not_settled_claims_no_change_in_either_direction(example_study):
    text = said(example_study, effect_low=-60.0, effect_high=20.0, verdict="not settled")
    assert "is not settled" in text
    assert "60 % lower to 20 % higher" in text


def test_no_worthwhile_difference_is_said_as_such(example_study):
    text = said(
        example_study, effect_low=-20.0, effect_high=10.0, verdict="no worthwhile difference"
    )
    assert "made no worthwhile difference to flea beetle days" in text


def test_a_bound_is_called_a_bound(example_study):
    text = said(
        example_study, effect=-100.0, effect_low=-math.inf, effect_high=-85.0, bound="upper"
    )
    assert "nothing was found in any plot with fine-mesh netting" in text
    assert "85 % lower or more (95 % bound)" in text


@pytest.mark.parametrize("verdict", ["worthwhile", "some effect", "not settled"])
def test_no_sentence_says_significant_or_p(example_study, verdict):
    text = said(example_study, verdict=verdict)
    assert "significan" not in text
    assert "p <" not in text


def test_units_of_yield_are_those_that_people_read(example_study):
    text = said(
        example_study,
        measure="marketable_yield",
        effect=0.1,
        effect_low=0.05,
        effect_high=0.15,
        effect_unit="yield_area",
        margin=0.04,
    )
    assert "892 lb/acre higher" in text  # 0.1 kg/m² by NIST SP 811 factors


def test_cautions_follow_the_treatments_and_end_with_the_deferral(example_study):
    told = cautions(example_study)
    assert CAUTIONS["spray"] in told
    assert CAUTIONS["cover"] in told
    assert CAUTIONS["ladder"] not in told
    assert told[-1] == DEFERRAL
