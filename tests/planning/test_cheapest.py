"""The cheapest layout that settles a question."""

import pytest

from trialkit.errors import AnalysisError
from trialkit.planning.cheapest import Prices, cheapest, compare_normal, sizes
from trialkit.planning.power import Components, TrialSize

PRICES = Prices(plot=50, site=300, season=500)
PARTS = Components(plot=15, treatment_environment=8)


def table(difference: float):
    return compare_normal(
        sizes(5, range(3, 7), range(1, 5), range(1, 4)), PRICES, difference, PARTS
    )


def test_cost_counts_plots_and_sites_every_season():
    """By hand: 3 x (500 + 2 x 300 + 2 x 4 x 5 x 50) = 9300."""
    assert PRICES.of(TrialSize(5, blocks=4, sites=2, seasons=3)) == 9300


def test_the_cheapest_has_the_power_and_nothing_cheaper_has():
    sized = table(30)
    best = cheapest(sized)
    assert best["power"] >= 0.8
    assert (sized.loc[sized["cost"] < best["cost"], "power"] < 0.8).all()


def test_a_smaller_difference_costs_more():
    assert cheapest(table(18))["cost"] > cheapest(table(30))["cost"]


def test_few_degrees_of_freedom_are_warned_about():
    sized = table(30)
    assert (sized["warning"] != "").tolist() == (sized["residual_df"] < 12).tolist()


def test_nothing_in_reach_is_said_with_the_best_there_is():
    with pytest.raises(AnalysisError, match=r"No layout in reach.*Allow more blocks"):
        cheapest(table(3))
