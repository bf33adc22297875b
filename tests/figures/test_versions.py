import pytest

from tests.figures.boxes import assert_well_set
from tests.figures.conftest import effects_frame
from trialkit import figures

WAYS = ("up to 2024", "up to 2025", "without Alder Bench", "with lost plots", "log of the counts")


def seen(*verdicts: str):
    rows = [
        ("flea_beetle_days", "netting", -40.0 - 3 * n, -60.0, -20.0 - 3 * n, "percent", 30.0, v, "")
        for n, v in enumerate(verdicts)
    ]
    return effects_frame(rows).assign(label=WAYS[: len(verdicts)])


def test_rows_are_named_by_their_labels(study, monkeypatch):
    frame = seen(*["some effect"] * 5)
    picture = assert_well_set(
        lambda: figures.versions(study, frame, "season by season"), monkeypatch
    )
    assert list(picture.data["label"]) == list(WAYS)
    assert "season by season" in picture.caption


def test_an_unmoved_verdict_is_said_once(study):
    alt = figures.versions(study, seen("some effect", "some effect"), "by choice").alt
    assert "some effect in all 2 rows, 40 to 43 % lower" in alt.replace("\u00a0", " ")


def test_a_verdict_that_hangs_on_a_choice_is_said(study):
    alt = figures.versions(study, seen("some effect", "not settled"), "by choice").alt
    assert "the verdict differs" in alt
    assert "up to 2025 (not settled)" in alt


def test_nothing_to_compare(study):
    assert "Nothing could be compared" in figures.versions(study, seen()[:0], "by choice").alt


@pytest.mark.parametrize("treatment", ["netting", "clover"])
def test_each_treatment_has_a_panel(study, treatment):
    frame = seen("some effect").assign(treatment=treatment)
    assert study.treatment(treatment).label in figures.versions(study, frame, "by choice").alt
