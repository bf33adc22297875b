"""What corrections moved, in words."""

import pandas as pd
import pytest

from trialkit.columns import MOVED
from trialkit.narrative.moved_text import moved_cautions, moved_table

NAN = float("nan")


def moved(**changed):
    row = {
        "season": 2025, "site": "alder_bench", "measure": "marketable_yield",
        "treatment": "kaolin", "effect_unit": "percent", "effect": 32.0, "effect_low": 6.1,
        "effect_high": 67.0, "bound": "", "verdict": "some effect", "direction": "better",
        "as_typed_effect": 74.0, "as_typed_low": -4.3, "as_typed_high": 315.0,
        "as_typed_bound": "", "as_typed_verdict": "not settled", "as_typed_direction": "better",
    }  # fmt: skip
    return {**row, **changed}


def frame(*rows):
    return pd.DataFrame(list(rows), columns=list(MOVED))


def test_a_verdict_that_changes_is_said_in_plain_words(example_study):
    (said,) = moved_cautions(example_study, frame(moved()))
    assert said == (
        "The verdict on marketable yield with kaolin clay film rests on corrections of the data: "
        "it is “some effect”, and as the sheets were typed it would be “not settled”."
    )


def test_treatments_with_the_same_change_share_a_sentence(example_study):
    both = frame(moved(), moved(treatment="clover"))
    (said,) = moved_cautions(example_study, both)
    assert "kaolin clay film and white-clover living mulch" in said


def test_a_verdict_that_stays_needs_no_caution(example_study):
    assert moved_cautions(example_study, frame(moved(as_typed_verdict="some effect"))) == []


def test_a_direction_that_turns_is_said(example_study):
    turned = moved(as_typed_verdict="some effect", as_typed_direction="worse")
    (said,) = moved_cautions(example_study, frame(turned))
    assert "“some effect, for the better”" in said
    assert "“some effect, for the worse”" in said


def test_the_table_shows_both_sides_with_their_intervals(example_study):
    (row,) = moved_table(example_study, frame(moved())).rows
    texts = [text.replace("\xa0", " ") for text in row]
    assert texts == [
        "Marketable yield: Kaolin",
        "not settled: 74 % higher (4.3 % lower to 315 % higher)",
        "some effect: 32 % higher (6.1 to 67 % higher)",
    ]


@pytest.mark.parametrize("missing", [{"as_typed_low": NAN}, {"as_typed_verdict": "no answer"}])
def test_where_the_sheets_as_typed_give_no_answer_the_table_says_so(example_study, missing):
    (row,) = moved_table(example_study, frame(moved(**missing))).rows
    assert row[1] == "no answer"
