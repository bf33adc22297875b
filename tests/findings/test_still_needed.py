"""What would settle a contrast that is not settled."""

import math

import pandas as pd
import pytest

from tests.findings.places import environments_of
from trialkit.findings import across_findings
from trialkit.findings.spread import variance_between
from trialkit.findings.still_needed import cost_of, in_words, margin_on_model, still_needed, ways
from trialkit.inference.more_needed import chance_settled


@pytest.fixture(scope="module")
def across(example_study):
    # Kaolin lies near the margin of 10 %, so it is the one that stays open.
    return across_findings(example_study, environments_of(example_study, means=(2, 3.2, 2, 1, 2.2)))


@pytest.fixture(scope="module")
def analysis(across):
    return across.pooled.analyses["marketable_yield"]


@pytest.fixture(scope="module")
def opened(example_study, across):
    """The findings with one contrast said to be open."""
    effects = across.pooled.effects.copy()
    chosen = effects["treatment"] == "silver_mulch"
    effects["verdict"] = effects["verdict"].mask(chosen, "not settled").mask(~chosen, "worthwhile")
    effects.loc[chosen, "se"] = effects.loc[chosen, "margin"] / 100 * 0.9
    return effects


def test_only_open_contrasts_are_asked_about(example_study, opened, analysis):
    measure = example_study.measure("marketable_yield")
    table = still_needed(example_study, measure, opened, analysis, 6)
    assert set(table["treatment"]) == {"silver_mulch"}
    assert table["how"].tolist() == ["as so far", "twice the blocks"]


def test_the_chance_is_that_of_the_power_mathematics(example_study, opened, analysis):
    measure = example_study.measure("marketable_yield")
    found = still_needed(example_study, measure, opened, analysis, 6).iloc[0]
    row = opened[opened["treatment"] == "silver_mulch"].iloc[0]
    margin = 0.10 * analysis.means.set_index("treatment")["mean"]["check"]
    table = chance_settled(row["estimate"], row["se"], 6, margin, treatments=5, most=60)
    enough = table[(table["chance"] >= 0.8) & (table["more"] > 0)].iloc[0]
    assert (found["more"], found["chance"]) == (enough["more"], pytest.approx(enough["chance"]))
    assert found["seasons"] == math.ceil(found["more"] / 3)


def test_more_blocks_help_by_the_share_of_variance_that_plots_have(example_study, analysis):
    same, twice = ways(example_study, analysis)
    parts = analysis.model.components
    between, plots = variance_between(analysis), parts["residual"]
    assert same.precision == 1
    assert twice.precision == pytest.approx((between + plots / 4) / (between + plots / 8))


def test_the_margin_of_a_ratio_is_a_logarithm(example_study):
    counts = environments_of(example_study, "flea_beetle_days", (200.0, 40, 150, 180, 90))
    found = across_findings(example_study, counts).pooled
    row = found.effects.iloc[0].to_dict()
    assert margin_on_model(row, found.analyses["flea_beetle_days"]) == math.log(1.3)


def test_cost_is_that_of_plots_sites_and_seasons(example_study):
    costs = example_study.layout.costs.model_copy(update={"plot": 10, "site": 100, "season": 1000})
    layout = example_study.layout.model_copy(update={"costs": costs})
    priced = example_study.model_copy(update={"layout": layout})
    # Four site-seasons of 4 x 5 plots in two seasons at three sites.
    assert cost_of(priced, 4, 4) == 4 * (100 + 20 * 10) + 2 * 1000
    free = example_study.layout.model_copy(update={"costs": costs.model_copy(
        update={"plot": 0, "site": 0, "season": 0})})  # fmt: skip
    assert math.isnan(cost_of(example_study.model_copy(update={"layout": free}), 4, 4))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "9 more site-seasons (3 seasons at 3 sites) settle it with a chance of 84 %"),
        ({"cost": 5400.0}, "for about 5,400 USD"),
        ({"more": pd.NA, "chance": 0.3}, "even 60 more site-seasons"),
        ({"chance": float("nan")}, "do not say"),
    ],
)
def test_a_sentence_says_what_it_takes(example_study, change, words):
    row = {"measure": "marketable_yield", "treatment": "kaolin", "how": "as so far", "blocks": 4,
           "more": 9, "seasons": 3, "chance": 0.84, "cost": float("nan")}  # fmt: skip
    assert words in in_words(example_study, row | change)
