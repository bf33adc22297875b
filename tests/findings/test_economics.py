"""Money of a place: from a fit and costs to budgets; what is missing is said, not guessed."""

import numpy as np
import pytest

from tests.findings.money import COSTS, with_economics
from trialkit.findings import site_season_findings
from trialkit.findings.costs_of import treatment_costs
from trialkit.findings.economics import BUDGET, money_of, pays
from trialkit.findings.economics_grid import fitted, price_cost_grid
from trialkit.findings.effect_table import Scope
from trialkit.findings.sold_yield import with_culls_sold
from trialkit.study import Economics, per_field_area

HERE = Scope(2024, "alder_bench")


@pytest.fixture
def analysis(example_study, yields):
    return site_season_findings(example_study, yields).analyses["marketable_yield"]


@pytest.fixture
def rich(example_study):
    return with_economics(example_study)


def test_the_budget_is_that_of_the_fitted_means(rich, analysis):
    money = money_of(rich, analysis, treatment_costs(rich, COSTS), HERE)
    assert tuple(money.budget.columns) == BUDGET
    mean = analysis.means.set_index("treatment")["mean"]["netting"]
    row = money.of("netting")
    assert row["plot_yield"] == pytest.approx(per_field_area(mean, "us"))
    assert row["net_return"] == pytest.approx(row["plot_yield"] - 45000 * 0.0225 - 36 * 18)
    assert row["gain_low"] < row["gain"] < row["gain_high"]


def test_what_raises_yield_by_half_pays_and_what_lowers_it_does_not(rich, analysis):
    money = money_of(rich, analysis, treatment_costs(rich, COSTS), HERE)
    assert pays(money, "netting") == "pays"
    assert money.of("netting")["chance"] > 0.99
    assert pays(money, "clover") == "does not pay"


def test_one_place_says_nothing_of_a_place_not_yet_tried(rich, analysis):
    money = money_of(rich, analysis, treatment_costs(rich, COSTS), HERE)
    assert money.budget["new_chance"].isna().all()


def test_a_treatment_without_costs_is_named_and_the_others_stay(rich, analysis):
    costs = treatment_costs(rich, COSTS[COSTS["treatment"] != "kaolin"])
    money = money_of(rich, analysis, costs, HERE)
    assert "Kaolin clay film has no costs" in " ".join(money.missing)
    assert [(f.code, f.column, f.value) for f in money.faults] == [
        ("no_costs", "treatment", "kaolin")
    ]
    assert pays(money, "kaolin") == "not known"
    assert pays(money, "netting") == "pays"


def test_a_treatment_with_a_broken_cost_is_left_out(rich, analysis):
    money = money_of(rich, analysis, treatment_costs(rich, COSTS, incomplete=["netting"]), HERE)
    assert pays(money, "netting") == "not known"
    assert "Fine-mesh netting to first bloom has a cost that cannot be used" in money.missing[0]


@pytest.mark.parametrize(
    ("change", "entry", "words"),
    [
        ({"prices": {}}, "economics.prices", "missing"),
        ({"prices": {"marketable": -0.5}}, "economics.prices.marketable", "below zero"),
        ({"prices": {"marketable": "0.9 EUR"}}, "economics.prices.marketable", "in EUR, but"),
        ({"prices": {"marketable": "€0.9"}}, "economics.prices.marketable", "in euros"),
        ({"wage": "eighteen"}, "economics.wage", "not a number"),
        ({"prices": {"marketable": 1.0, "seconds": 1.0}}, "economics.prices.seconds", "no grade"),
    ],
)
def test_a_price_that_cannot_be_used_is_named_and_blocks_money_alone(
    example_study, analysis, change, entry, words
):
    broken = with_economics(example_study, **change)
    money = money_of(broken, analysis, treatment_costs(broken, COSTS), HERE)
    assert money.budget.empty
    assert "Prices in study.toml cannot be used" in money.missing[0]
    fault = money.faults[0]
    assert fault.column == entry
    assert words in fault.what
    assert fault.file.endswith("study.toml")
    assert fault.row > 0


def test_without_yield_or_prices_the_reason_is_given(example_study, rich, analysis):
    bare = example_study.model_copy(update={"economics": None})
    assert (
        "no [economics]" in money_of(bare, analysis, treatment_costs(bare, COSTS), HERE).missing[0]
    )
    assert (
        "could not be analysed"
        in money_of(rich, None, treatment_costs(rich, COSTS), HERE).missing[0]
    )


def test_the_grid_names_the_best_of_every_price_and_cost(rich, analysis):
    costs = treatment_costs(rich, COSTS)
    table = price_cost_grid(fitted(rich, analysis, costs), (0.0, 1.0), (1.0, 1000.0))
    assert table["best"].tolist() == ["check", "check", "netting", "check"]
    assert table.loc[2, "chance"] > 0.99
    assert np.isnan(table.loc[0, "chance"])


def test_at_today_s_terms_the_grid_agrees_with_the_budget(rich, analysis):
    costs = treatment_costs(rich, COSTS)
    budget = money_of(rich, analysis, costs, HERE).budget.set_index("treatment")
    found = fitted(rich, analysis, costs).returns(1.0).set_index("treatment")
    names = list(budget.index)
    for column in ("net_return", "gain"):
        assert found.loc[names, column].to_numpy() == pytest.approx(budget[column].to_numpy())
    difference = found.loc[names, "chance"] - budget["chance"]
    assert difference.dropna().abs().max() < 0.02


def test_culls_that_are_sold_count_at_their_own_price(yields):
    part = Economics(prices={"marketable": 0.6, "cull": 0.2}, packing=0.1)
    culls = yields[["season", "site", "plot"]].assign(value=0.5).iloc[:3]
    sold = with_culls_sold(yields, culls, part)
    difference = (sold["value"] - yields["value"]).to_numpy()
    assert difference[:3] == pytest.approx([0.1] * 3)
    assert (difference[3:] == 0).all()
    unsold = with_culls_sold(yields, culls, Economics(prices={"marketable": 0.6}))
    assert unsold is yields


def test_a_study_in_si_units_comes_to_the_same_money(example_study, analysis):
    # The same field in kg and hectares: a price per kg, an input per hectare, money per hectare.
    kilogram, hectare = 2.2046226218, 2.4710439305  # lb a kg; US survey acres a hectare
    us = with_economics(example_study, prices={"marketable": 0.5}, packing=0.1, yield_adjustment=10)
    si = with_economics(
        example_study.model_copy(update={"units": "si"}),
        prices={"marketable": 0.5 * kilogram}, packing=0.1 * kilogram, yield_adjustment=10,
    )  # fmt: skip
    per_acre = money_of(us, analysis, treatment_costs(us, COSTS), HERE).of("netting")
    wider = COSTS.assign(quantity=COSTS["quantity"] * hectare)
    per_hectare = money_of(si, analysis, treatment_costs(si, wider), HERE).of("netting")
    for name in ("net_return", "gain", "gain_low", "gain_high", "cost", "hours"):
        assert per_hectare[name] == pytest.approx(per_acre[name] * hectare, rel=1e-6)
    assert per_hectare["chance"] == per_acre["chance"]
    assert per_hectare["break_even_price"] == pytest.approx(
        per_acre["break_even_price"] * kilogram, rel=1e-6
    )
