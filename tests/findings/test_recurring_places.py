"""Pooled counts and shares: readers are told where ratios seem to belong to their place."""

import numpy as np
import pandas as pd
import pytest

from tests.findings.places import environments_of
from trialkit.findings import Environment, across_findings, site_season_findings
from trialkit.findings.recurring_places import place_caution, place_p

TREATMENTS = ("netting", "silver_mulch", "clover", "kaolin")


def ratios(own_to_site: float, seed: int = 3) -> pd.DataFrame:
    """EFFECTS of 3 sites x 2 seasons; treatments answer a site alike with this spread."""
    draw = np.random.default_rng(seed)
    at_site = own_to_site * draw.normal(size=(3, 4))
    rows = [
        {"season": season, "site": site, "measure": "flea_beetle_days", "treatment": treatment,
         "estimate": at_site[i, t] + 0.2 * draw.normal()}
        for season in (2024, 2025)
        for i, site in enumerate(("alder_bench", "brook_terrace", "cedar_flat"))
        for t, treatment in enumerate(TREATMENTS)
    ]  # fmt: skip
    return pd.DataFrame(rows)


@pytest.fixture
def measure(example_study):
    return example_study.measure("flea_beetle_days")


def test_ratios_that_belong_to_their_place_bring_a_caution(example_study, measure):
    told = place_caution(example_study, measure, ratios(1.0))
    assert "surer of itself than 3 places allow" in told


def test_ratios_that_differ_by_chance_bring_none(example_study, measure):
    assert place_caution(example_study, measure, ratios(0.0)) == ""


def test_the_test_rejects_as_often_as_it_says(example_study, measure):
    found = [place_p(example_study, measure, ratios(0.0, seed)) for seed in range(400)]
    assert 0.06 < np.mean(np.array(found) <= 0.1) < 0.14


def test_bounds_take_no_part_and_one_season_tests_nothing(example_study, measure):
    table = ratios(0.0)
    table.loc[0, "estimate"] = -np.inf
    assert 0 <= place_p(example_study, measure, table) <= 1
    assert np.isnan(place_p(example_study, measure, table[table["season"] == 2024]))


def test_the_caution_stands_among_the_notes_of_the_combined_answer(example_study, measure):
    places = []
    days = (200.0, 40.0, 150.0, 180.0, 90.0)
    for item in environments_of(example_study, "flea_beetle_days", days):
        values = item.values.copy()
        factor = {"brook_terrace": 4.0, "cedar_flat": 0.3}.get(item.site, 1.0)
        values.loc[values["treatment"] == "kaolin", "value"] *= factor
        effects = site_season_findings(example_study, values).effects
        places.append(Environment(item.season, item.site, values, effects))
    notes = across_findings(example_study, places).pooled.analyses["flea_beetle_days"].notes
    assert any("much the same way every season" in note for note in notes)
