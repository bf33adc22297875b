"""Where the spread in a plan comes from: own data, a past study, a rule of thumb; always said."""

import shutil
from pathlib import Path

import pytest

from trialkit.errors import StudyError
from trialkit.planning.how_much import RULE_OF_THUMB, how_much
from trialkit.report.plan_known import known_so_far
from trialkit.study import read_study

EXAMPLE = Path("data_examples/eggplant_flea_beetle")


@pytest.fixture(scope="module")
def own():
    return known_so_far(read_study(EXAMPLE)).assumptions


@pytest.fixture
def young(tmp_path) -> Path:
    """The example's description without any data."""
    folder = tmp_path / "young"
    folder.mkdir()
    shutil.copy(EXAMPLE / "study.toml", folder)
    return folder


def with_layout(folder: Path, line: str) -> None:
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("\n[layout]\n", f"\n[layout]\n{line}\n", 1), encoding="utf-8")


def test_counts_take_mean_and_clumping_from_the_studys_own_plots(own):
    beetles = own["flea_beetle_days"]
    assert beetles.source == "this study's own 6 finished site-seasons"
    assert 100 < beetles.check_mean < 300  # insect-days of a check in the example
    assert 5 < beetles.overdispersion < 100
    assert beetles.environment_sd > 0


def test_one_finished_site_season_tells_of_plots_and_says_what_it_cannot_tell(young):
    shutil.copytree(EXAMPLE / "data/2024/alder_bench", young / "data/2024/alder_bench")
    found = known_so_far(read_study(young)).assumptions
    yields = found["marketable_yield"]
    assert 5 < yields.plot_sd < 40
    assert yields.source == (
        f"plots: this study's own 1 finished site-season; between site-seasons: {RULE_OF_THUMB}"
    )
    assert "overdispersion" in found["flea_beetle_days"].model_fields_set


def test_a_past_study_tells_a_new_one_and_is_named(young, own):
    past = EXAMPLE.resolve().as_posix()
    with_layout(young, f'past = "{past}"')
    found = known_so_far(read_study(young)).assumptions
    assert found["flea_beetle_days"].overdispersion == own["flea_beetle_days"].overdispersion
    assert found["flea_beetle_days"].source == (
        "eggplant_flea_beetle, a past study: this study's own 6 finished site-seasons"
    )


def test_a_past_study_that_is_not_there_names_the_entry(young):
    with_layout(young, 'past = "../nowhere"')
    with pytest.raises(StudyError, match=r"study.toml:\d+:layout.past: there is no study.toml in"):
        known_so_far(read_study(young))


def test_without_any_data_a_rule_of_thumb_is_named_as_one(young):
    study = read_study(young)
    assert known_so_far(study).assumptions == {}
    reach = study.layout.reach.model_copy(update={"blocks": 2, "sites": 1, "seasons": 1})
    layout = study.layout.model_copy(update={"reach": reach})
    for one in how_much(study.model_copy(update={"layout": layout})):
        assert (
            one.assumption.source == RULE_OF_THUMB == "rule of thumb: value from memory, no source"
        )


def test_entries_left_out_are_filled_by_rule_of_thumb_and_named(young):
    text = (young / "study.toml").read_text(encoding="utf-8")
    typed = 'measure = "flea_beetle_days"\ncheck_mean = 90\nsource = "a pilot"'
    typed = f"\n[[layout.assumptions]]\n{typed}\n"
    (young / "study.toml").write_text(text + typed, encoding="utf-8")
    study = read_study(young)
    beetles = next(one for one in how_much(study) if one.measure.id == "flea_beetle_days")
    assert beetles.assumption.check_mean == 90
    assert beetles.assumption.source == f"a pilot; overdispersion = 8 by {RULE_OF_THUMB}"
