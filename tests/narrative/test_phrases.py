"""Effects come in the unit that people read; cautions follow the treatments."""

import pytest

from trialkit.narrative.phrases import CAUTIONS, DEFERRAL, cautions, lower_first, shown_effect


def test_units_of_yield_are_those_that_people_read(example_study):
    row = {
        "measure": "marketable_yield",
        "effect": 0.1,
        "effect_low": 0.05,
        "effect_high": 0.15,
        "effect_unit": "yield_area",
    }
    effect, low, high, unit = shown_effect(row, example_study)
    # NIST SP 811, appendix B: an acre is 4.046 873 E+03 m², a pound 4.535 924 E-01 kg.
    assert [effect, low, high] == pytest.approx([892.183, 446.091, 1338.274], rel=1e-5)
    assert unit == "lb/acre"


def test_percent_and_points_stay_as_they_are(example_study):
    row = {"effect": -62.0, "effect_low": -72.0, "effect_high": -48.0, "effect_unit": "percent"}
    assert shown_effect(row, example_study) == (-62.0, -72.0, -48.0, "percent")


@pytest.mark.parametrize(
    ("name", "inside"),
    [("Flea beetles", "flea beetles"), ("BRIX", "BRIX"), ("pH", "pH"), ("A b", "A b")],
)
def test_names_take_a_small_letter_inside_a_sentence(name, inside):
    assert lower_first(name) == inside


def test_cautions_follow_the_treatments_and_end_with_the_deferral(example_study):
    told = cautions(example_study)
    assert CAUTIONS["spray"] in told
    assert CAUTIONS["cover"] in told
    assert CAUTIONS["ladder"] not in told
    assert told[-1] == DEFERRAL


def test_the_caution_on_food_needs_a_measure_of_picked_fruit(example_study):
    pests = tuple(one for one in example_study.measures if one.organism)
    assert CAUTIONS["food"] in cautions(example_study)
    assert CAUTIONS["food"] not in cautions(example_study.model_copy(update={"measures": pests}))
