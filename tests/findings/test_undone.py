"""What corrections moved: only what they touched, beside what the sheets as typed would say."""

import pytest

from trialkit.columns import MOVED
from trialkit.findings import (
    moved_by_corrections,
    site_season_findings,
    verdicts_moved,
    without_answer,
)
from trialkit.findings.undone import NO_ANSWER


@pytest.fixture
def effects(example_study, yields):
    return site_season_findings(example_study, yields).effects


def slipped(yields, treatment="netting", times=10.0):
    """The same plot values, one plot of a treatment with its decimal point one place off."""
    typed = yields.copy()
    row = typed.index[typed["treatment"] == treatment][0]
    typed.loc[row, "value"] *= times
    return typed


def test_without_a_difference_nothing_moved(example_study, yields, effects):
    moved = moved_by_corrections(example_study, effects, yields, yields.iloc[::-1])
    assert (len(moved), tuple(moved.columns)) == (0, MOVED)


def test_both_sides_are_the_analyses_themselves(example_study, yields, effects):
    typed = slipped(yields)
    moved = moved_by_corrections(example_study, effects, yields, typed).set_index("treatment")
    again = site_season_findings(example_study, typed).effects.set_index("treatment")
    corrected = effects.set_index("treatment")
    assert set(moved.index) == {"netting", "silver_mulch", "clover", "kaolin"}
    for treatment in moved.index:
        assert moved.loc[treatment, "effect_low"] == corrected.loc[treatment, "effect_low"]
        assert moved.loc[treatment, "as_typed_low"] == again.loc[treatment, "effect_low"]
        assert moved.loc[treatment, "as_typed_verdict"] == again.loc[treatment, "verdict"]


def test_a_verdict_that_hangs_on_a_correction_is_found(example_study, yields, effects):
    moved = moved_by_corrections(example_study, effects, yields, slipped(yields))
    hanging = verdicts_moved(moved).set_index("treatment")
    netting = hanging.loc["netting", ["verdict", "as_typed_verdict"]]
    assert tuple(netting) == ("worthwhile", "not settled")


def test_a_verdict_turned_around_counts_as_moved(example_study, yields, effects):
    moved = moved_by_corrections(example_study, effects, yields, slipped(yields))
    turned = moved.assign(as_typed_verdict=moved["verdict"], as_typed_direction="worse")
    settled = moved["verdict"].isin(["worthwhile", "some effect"])
    better = settled & (moved["direction"] == "better")
    assert verdicts_moved(turned)["treatment"].tolist() == moved[better]["treatment"].tolist()
    assert better.any()


def test_a_plot_that_only_a_correction_brings_in_is_seen(example_study, yields, effects):
    typed = yields.copy()
    typed.loc[typed.index[0], "left_out"] = "the weight cannot be read"
    assert len(moved_by_corrections(example_study, effects, yields, typed)) == 4


def test_sheets_that_cannot_be_analysed_as_typed_give_no_answer(example_study, effects):
    moved = without_answer(example_study, effects)
    assert (moved["as_typed_verdict"] == NO_ANSWER).all()
    assert len(verdicts_moved(moved)) == len(effects)
