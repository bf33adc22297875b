"""What moved comes with its cause, flipped verdicts first."""

from dataclasses import replace

from tests.narrative.facts_for_tests import BETTER, UNSETTLED, WORSE, facts_of
from trialkit.narrative.changes import cause_words, causes, move_words, moved_findings

FACTS = facts_of(BETTER, UNSETTLED)


def test_the_same_findings_have_not_moved():
    noise = replace(BETTER, effect=BETTER.effect * (1 + 1e-9))
    assert moved_findings((BETTER, UNSETTLED), (noise, UNSETTLED)) == ()


def test_flipped_verdicts_come_first_then_the_farthest():
    far = replace(UNSETTLED, effect=20.0)
    near = replace(BETTER, treatment="kaolin", effect=-61.0)
    before = (replace(near, effect=-62.0), UNSETTLED, BETTER)
    moves = moved_findings(before, (near, far, WORSE))
    assert [move.one.treatment for move in moves] == ["netting", "clover", "kaolin"]
    assert [move.flipped for move in moves] == [True, False, False]


def test_a_move_reads_with_both_estimates_and_verdicts():
    (move,) = moved_findings((BETTER,), (WORSE,))
    assert move_words(move, FACTS).replace("\u00a0", " ") == (
        "Flea beetle days, Fine-mesh netting: worthwhile (better) is now worthwhile (worse); "
        "62 % lower (48 to 72 % lower) then, 62 % higher (48 to 72 % higher) now"
    )


def test_a_finding_that_came_or_went_is_told():
    came, went = moved_findings((BETTER,), (UNSETTLED,))
    assert "new, not settled" in move_words(came, FACTS)
    assert "gone, was worthwhile" in move_words(went, FACTS)


def test_an_open_interval_moves_without_a_size():
    open_end = replace(BETTER, low=float("-inf"))
    (move,) = moved_findings((open_end,), (replace(open_end, high=-20.0),))
    assert move.size == 0.0


def test_causes_are_grouped_by_kind():
    before = {"data/2025/a/plots.csv": "1", "version of numpy": "2.3", "study.toml: sites": "x",
              "notebook site_season.ipynb": "a"}  # fmt: skip
    now = {"data/2025/a/plots.csv": "2", "version of numpy": "2.4", "study.toml: sites": "x",
           "notebook site_season.ipynb": "a", "corrections.csv": "3"}  # fmt: skip
    assert cause_words(causes(before, now)) == [
        "data: data/2025/a/plots.csv",
        "corrections: corrections.csv (new)",
        "versions: numpy 2.3 then, 2.4 now",
    ]
