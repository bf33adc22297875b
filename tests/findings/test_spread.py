"""The variance of effects between site-seasons: the sum of its parts, never below zero."""

from dataclasses import replace

import pytest

from tests.findings.places import environments_of
from trialkit.findings import across_findings
from trialkit.findings.spread import level_variance_between, variance_between


@pytest.fixture
def analysis(example_study):
    places = environments_of(example_study)
    return across_findings(example_study, places).pooled.analyses["marketable_yield"]


def with_parts(analysis, **estimates):
    names = {name.replace("_", ":"): value for name, value in estimates.items()}
    model = replace(
        analysis.model,
        components={name: max(0.0, value) for name, value in names.items()},
        extra={f"estimate of {name}": value for name, value in names.items()},
    )
    return replace(analysis, model=model)


def test_parts_of_site_season_and_environment_add_up(analysis):
    fitted = with_parts(
        analysis, site_treatment=0.5, season_treatment=0.2, environment_treatment=-0.1, residual=9.0
    )
    assert variance_between(fitted) == pytest.approx(0.6)


def test_the_level_of_a_new_place_has_the_parts_of_site_season_and_environment(analysis):
    fitted = with_parts(analysis, site=2.0, season=0.5, environment=-0.25, site_treatment=9.0)
    assert level_variance_between(fitted) == pytest.approx(2.25)


def test_it_does_not_fall_below_zero(analysis):
    assert variance_between(with_parts(analysis, environment_treatment=-0.1)) == 0


def test_the_combined_answer_across_recurring_sites_has_a_part_for_them(analysis):
    assert {"site:treatment", "environment:treatment"} <= set(analysis.model.components)
    assert any("rest on the 3 sites" in note for note in analysis.notes)
