"""The example's reported intervals against the truth that its data were simulated from."""

import pandas as pd
import pytest
from scipy.stats import binom

from trialkit.report.across import open_across


@pytest.fixture(scope="module")
def across(example_folder):
    return open_across(example_folder)


@pytest.fixture(scope="module")
def truth(example_folder):
    return pd.read_csv(example_folder / "true_effects.csv")


def covered(effects, truth):
    """Effects beside their true values, with whether the interval holds them."""
    keys = ["site", "measure", "treatment"]
    keys = keys if effects["site"].iloc[0] == "across" else ["season", *keys]
    both = effects.merge(truth, on=keys, suffixes=("", "_true"))
    relative = both["effect_unit"] == "percent"
    true = (100 * (both["ratio_of_means"] - 1)).where(relative, both["difference"])
    inside = both["effect_low"].le(true + 1e-9) & both["effect_high"].ge(true - 1e-9)
    return both.assign(true=true, inside=inside)


def test_intervals_of_single_site_seasons_cover_the_truth_as_often_as_they_promise(across, truth):
    judged = covered(across.findings.effects, truth[truth["season"].notna()])
    families = judged.groupby(["season", "site", "measure"])["inside"].all()
    assert len(families) > 80
    # Each family of a measure is covered with probability 0.95: fewer than the 0.001 point of the
    # binomial distribution would speak against that.
    fewest = binom.ppf(0.001, len(families), example_level(across))
    assert families.sum() >= fewest


def example_level(across):
    return across.study.level


def test_the_combined_intervals_of_the_primary_measures_cover_the_truth(across, truth):
    pooled = across.findings.pooled.effects
    judged = covered(pooled, truth[truth["site"] == "across"])
    primary = judged[judged["measure"].isin(["flea_beetle_days", "marketable_yield"])]
    assert len(primary) == 8
    assert primary["inside"].all()


def test_no_treatment_is_called_worthwhile_that_is_worth_less_than_its_margin(across, truth):
    pooled = across.findings.pooled.effects
    judged = covered(pooled, truth[truth["site"] == "across"])
    praised = judged[judged["verdict"] == "worthwhile"]
    assert len(praised) >= 2
    assert (praised["true"].abs() > praised["margin"]).all()
