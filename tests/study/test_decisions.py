"""Decisions on other protocols: plain keys, and every wrong name told."""

import pytest

from trialkit.errors import StudyError
from trialkit.study import read_study

ENTRY = {
    "season": "2024", "site": '"brook_terrace"', "treatment": '"netting"',
    "decision": '"exclude"', "reason": '"covers tore"',
}  # fmt: skip


def study_with(example_folder, tmp_path, *entries):
    text = (example_folder / "study.toml").read_text(encoding="utf-8")
    for entry in entries:
        lines = "\n".join(f"{key} = {value}" for key, value in {**ENTRY, **entry}.items() if value)
        text += f"\n[[protocol_decisions]]\n{lines}\n"
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    return read_study(tmp_path)


def test_a_decision_on_a_treatment_leaves_the_others_undecided(example_folder, tmp_path):
    study = study_with(example_folder, tmp_path, {})
    assert study.decision_on(2024, "brook_terrace", "netting").reason == "covers tore"
    assert study.decision_on(2024, "brook_terrace", "kaolin") is None
    assert study.decision_on(2025, "brook_terrace", "netting") is None


def test_a_decision_without_a_treatment_is_about_all_that_have_none_of_their_own(
    example_folder, tmp_path
):
    whole = {"treatment": "", "decision": '"keep"'}
    study = study_with(example_folder, tmp_path, {}, whole)
    assert study.decision_on(2024, "brook_terrace", "kaolin").decision == "keep"
    assert study.decision_on(2024, "brook_terrace", "netting").decision == "exclude"


@pytest.mark.parametrize(
    ("entry", "told"),
    [
        ({"site": '"brok_terrace"'}, "site 'brok_terrace' is not declared"),
        ({"treatment": '"nettin"'}, "treatment 'nettin' is not declared"),
        ({"season": "2019"}, "season 2019 is not listed"),
        ({"treatment": '"check"'}, "nothing can be compared without the check"),
        ({"decision": '"maybe"'}, "Input should be 'exclude' or 'keep'"),
        ({"reason": '" "'}, "at least 1 character"),
        ({"reason": ""}, "'reason' is missing"),
        ({"raeson": '"x"'}, "unknown key 'raeson'"),
    ],
)
def test_a_wrong_entry_is_told_by_name(example_folder, tmp_path, entry, told):
    with pytest.raises(StudyError, match=told):
        study_with(example_folder, tmp_path, entry)


def test_one_thing_is_decided_once(example_folder, tmp_path):
    with pytest.raises(StudyError, match="2024 brook_terrace netting is decided twice"):
        study_with(example_folder, tmp_path, {}, {"decision": '"keep"'})


def test_a_season_that_does_not_take_place_at_a_site_is_told(example_study):
    told = example_study.model_dump(mode="json")
    told["seasons"][0]["sites"] = ["cedar_flat"]
    told["protocol_decisions"] = [
        {"season": 2024, "site": "alder_bench", "decision": "keep", "reason": "x"}
    ]
    with pytest.raises(ValueError, match="season 2024 does not take place at 'alder_bench'"):
        type(example_study).model_validate(told)
