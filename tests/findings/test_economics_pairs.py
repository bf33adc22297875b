"""Treatments against each other in money: by hand, and against the gain over the check."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.findings.money import COSTS, means_of, with_economics
from tests.findings.places import environments_of
from trialkit.columns import EFFECTS
from trialkit.findings.costs_of import treatment_costs
from trialkit.findings.economics import BUDGET, Money, money_of
from trialkit.findings.economics_pairs import PAIRS, pairs_of
from trialkit.findings.effect_table import Scope
from trialkit.findings.recommendation import recommendations
from trialkit.findings.refit import analyse_again, values_of


def test_a_pair_is_the_t_interval_of_the_difference_times_its_worth():
    # Yields 2.5 and 2.1, se of each 0.2; worth 50 a unit; costs 20 and 5; 9 degrees of freedom.
    means = means_of([2.5, 2.1], 0.2, 9.0, ("net", "mulch"))
    row = pairs_of(means, 50.0, np.array([20.0, 5.0])).iloc[0]
    gain, se = 50 * 0.4 - 15, 50 * 0.2 * np.sqrt(2)
    assert row["gain"] == pytest.approx(gain)
    assert row["gain_high"] - gain == pytest.approx(stats.t.ppf(0.975, 9) * se)
    assert row["chance"] == pytest.approx(stats.t.cdf(gain / se, 9))


def test_both_ways_round_a_pair_says_the_same():
    table = pairs_of(means_of([2.0, 2.5, 2.2], 0.3, 12.0, ("a", "b", "c")), 10.0, np.zeros(3))
    by = table.set_index(["treatment", "other"])
    assert by.loc[("a", "b"), "gain_low"] == pytest.approx(-by.loc[("b", "a"), "gain_high"])
    assert by.loc[("a", "c"), "chance"] == pytest.approx(1 - by.loc[("c", "a"), "chance"])


@pytest.fixture(scope="module")
def together(example_study):
    rich = with_economics(example_study)
    measure = rich.measure("marketable_yield")
    analysis = analyse_again(rich, measure, values_of(measure, environments_of(rich)))
    return money_of(rich, analysis, treatment_costs(rich, COSTS), Scope(0, "across"))


def test_against_the_check_the_pair_is_the_gain_that_was_simulated(together):
    row = together.of("netting")
    pair = together.pairs.set_index(["treatment", "other"]).loc[("netting", "check")]
    assert pair["gain"] == pytest.approx(row["gain"])
    assert pair["chance"] == pytest.approx(row["chance"], abs=0.01)  # 20,000 runs
    assert pair["gain_low"] == pytest.approx(row["gain_low"], rel=0.05)


def test_the_marginal_analysis_ends_at_a_treatment_that_nothing_dominates(together):
    chosen = together.of(together.choice)
    assert chosen["dominated_by"] == ""


def world(study, chance):
    """Netting is dominated by kaolin, which returns more with this chance."""
    effects = pd.DataFrame(
        [
            {"measure": m.id, "treatment": t, "verdict": "worthwhile", "direction": "better"}
            for m in study.measures
            for t in study.treatment_ids[1:]
        ]
    ).reindex(columns=list(EFFECTS))
    rows = [
        {"treatment": t, "word": "pays", "dominated_by": "kaolin" if t == "netting" else ""}
        for t in study.treatment_ids[1:]
    ]
    pairs = pd.DataFrame([("kaolin", "netting", 50.0, 1.0, 99.0, chance)], columns=list(PAIRS))
    money = Money(pd.DataFrame(rows).reindex(columns=list(BUDGET)), pairs=pairs)
    return {one.treatment: one for one in recommendations(study, effects, money)}


def test_a_treatment_that_a_cheaper_one_probably_beats_is_not_recommended_plainly(example_study):
    found = world(example_study, 0.9)
    assert found["netting"].decision == "recommend with conditions"
    assert found["netting"].beaten_by == "kaolin"
    assert found["netting"].conditions == (
        "only where Kaolin cannot be used: it costs no more and probably returns more",
    )
    assert found["kaolin"].decision == "recommend"


def test_dominance_on_estimates_alone_takes_nothing_back(example_study):
    found = world(example_study, 0.6)
    assert found["netting"].decision == "recommend"
    assert found["netting"].beaten_chance == 0.6
    assert found["netting"].conditions == ()
