"""Measures know their family, quantity and which way is better."""

import pytest
from pydantic import ValidationError

from trialkit.study import KINDS, Measure


def test_pest_measures_are_better_low_and_yields_better_high(example_study):
    assert example_study.measure("flea_beetle_days").lower_is_better
    assert not example_study.measure("marketable_yield").lower_is_better


def test_a_study_may_turn_the_better_end_round():
    measure = Measure(id="m", kind="days_to_first_bloom", name="m", margin=1, better="higher")
    assert not measure.lower_is_better


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_a_kind_without_what_it_needs_is_refused(kind):
    needs = KINDS[kind].needs
    if not needs:
        assert Measure(id="m", kind=kind, name="m", margin=1).family == KINDS[kind].family
        return
    with pytest.raises(ValidationError, match=needs[0]):
        Measure(id="m", kind=kind, name="m", margin=1)


@pytest.mark.parametrize("margin", [0, -1])
def test_a_margin_must_be_positive(margin):
    with pytest.raises(ValidationError, match="greater than 0"):
        Measure(id="m", kind="marketable_yield", name="m", margin=margin)
