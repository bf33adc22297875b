"""Partial budgets: the arithmetic of CIMMYT 1988, chapters 2 to 4, shown step by step.

The methods are the manual's; the numbers here are our own, since no worked table of the manual
could be had to check against.
"""

import numpy as np
import pandas as pd
import pytest

from tests.findings.money import COSTS
from trialkit.findings.partial_budget import (
    Terms,
    acceptable,
    break_even,
    budgets,
    costs_a_season,
    marginal_analysis,
    with_event_labour,
)

TERMS = Terms(price=0.60, packing=0.10, picking_hours=0.005, wage=20.0, kept=0.9)
COST = pd.DataFrame(
    {"cost": [0.0, 1500.0, 600.0], "hours": [0.0, 36.0, 10.0], "labour_cost": [0.0, 720.0, 200.0]},
    index=["check", "netting", "mulch"],
)


@pytest.fixture
def budget():
    return budgets({"check": 20_000.0, "netting": 26_000.0, "mulch": 20_500.0}, COST, TERMS)


def test_inputs_are_spread_over_the_seasons_that_they_last():
    table = costs_a_season(COSTS)
    assert table.loc["netting", "cost"] == pytest.approx(45000 * 0.045 / 2 + 36 * 18)
    assert table.loc["netting", ["hours", "labour_cost"]].tolist() == [36, 36 * 18]
    assert table.loc["silver_mulch", "cost"] == pytest.approx(8700 * 0.055)


def test_hours_of_events_are_paid_at_the_wage():
    table = with_event_labour(costs_a_season(COSTS), {"kaolin": 6 * 2.5}, 18.0)
    assert table.loc["kaolin"].tolist() == pytest.approx([150 * 1.1 + 15 * 18, 15, 15 * 18])
    assert table.loc["clover", "cost"] == pytest.approx(12 * 6.5)


def test_net_return_is_field_yield_at_the_field_price_less_costs(budget):
    # Handling 0.10 + 0.005 x 20 = 0.20; field price 0.40; netting 26 000 x 0.9 = 23 400.
    netting = budget.set_index("treatment").loc["netting"]
    assert netting["net_return"] == pytest.approx(23_400 * 0.40 - 1500)
    assert netting["income"] - netting["handling"] - netting["cost"] == pytest.approx(
        netting["net_return"]
    )
    assert netting["hours"] == pytest.approx(36 + 23_400 * 0.005)


def test_dominated_and_marginal_returns(budget):
    # Check 7200, mulch 18 450 x 0.4 - 600 = 6780, netting 7860: (7860 - 7200) / 1500 = 44 %.
    table = marginal_analysis(budget).set_index("treatment")
    assert table.loc["mulch", "dominated_by"] == "check"
    assert np.isnan(table.loc["mulch", "marginal_return"])
    assert table.loc["netting", "marginal_return"] == pytest.approx(44.0)
    assert table.loc["netting", "instead_of"] == "check"


def test_a_step_below_the_minimum_return_is_not_taken(budget):
    table = marginal_analysis(budget)
    assert acceptable(table, 40.0) == "netting"
    assert acceptable(table, 50.0) == "check"


def test_at_the_break_even_price_and_yield_the_gain_is_nil(budget):
    found = break_even(budget, "check", TERMS).set_index("treatment").loc["netting"]
    yields = {"check": 20_000.0, "netting": 26_000.0}
    other = Terms(found["break_even_price"], 0.10, 0.005, 20.0, 0.9)
    again = budgets(yields, COST, other)["net_return"]
    assert again[1] == pytest.approx(again[0])
    again = budgets(yields | {"netting": found["break_even_yield"]}, COST, TERMS)["net_return"]
    assert again[1] == pytest.approx(again[0])


def test_return_per_hour_is_what_is_left_before_labour_for_each_extra_hour(budget):
    found = break_even(budget, "check", TERMS).set_index("treatment").loc["netting"]
    hours = 36 + 5400 * 0.005
    assert found["return_per_hour"] == pytest.approx((660 + 720 + 5400 * 0.1) / hours)


def test_no_price_pays_for_more_cost_and_less_yield():
    table = budgets({"check": 10.0, "mulch": 9.0}, COST, TERMS)
    assert np.isnan(break_even(table, "check", TERMS).loc[0, "break_even_price"])
