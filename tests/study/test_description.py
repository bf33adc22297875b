"""The study as a whole."""

import datetime as dt

import pytest
from pydantic import ValidationError


def test_the_check_comes_first_in_reporting_order(example_study):
    assert example_study.treatment_ids[0] == "check"
    assert example_study.check.check


def test_site_seasons_run_by_year_then_by_site_as_listed(example_study):
    places = example_study.site_seasons()
    assert places[0] == (2024, "alder_bench")
    assert places[-1] == (2026, "cedar_flat")
    assert len(places) == 9


def test_a_season_may_list_its_own_sites(example_study):
    season = example_study.season(2024).model_copy(update={"sites": ("cedar_flat",)})
    study = example_study.model_copy(update={"seasons": (season,)})
    assert study.site_seasons() == ((2024, "cedar_flat"),)


def test_dates_outside_the_season_are_told_apart(example_study):
    assert example_study.in_season(2024, dt.date(2024, 9, 30))
    assert not example_study.in_season(2024, dt.date(2024, 10, 1))


def test_a_study_cannot_be_changed(example_study):
    with pytest.raises(ValidationError, match="frozen"):
        example_study.title = "another"


def test_a_long_treatment_name_is_cut_for_figures(example_study):
    treatment = example_study.check.model_copy(update={"short": "", "name": "x" * 90})
    assert len(treatment.label) == 32
    assert treatment.label.endswith("…")
    assert example_study.check.label == "Check"
