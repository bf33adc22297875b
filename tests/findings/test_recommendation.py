"""Decisions follow the stated rules, and conditions are named."""

import pandas as pd
import pytest

from trialkit.columns import EFFECTS
from trialkit.findings.economics import BUDGET, Money
from trialkit.findings.recommendation import decide, recommendations

BETTER = [("worthwhile", "better"), ("worthwhile", "better")]


def budget(chance):
    return pd.Series({"chance": chance})


@pytest.mark.parametrize(
    ("verdicts", "money", "chance", "unsteady", "decision"),
    [
        (BETTER, "pays", 0.99, (), "recommend"),
        (BETTER, "pays", 0.99, ("marketable_yield",), "recommend with conditions"),
        (BETTER, "not settled", 0.85, (), "recommend with conditions"),
        (BETTER, "not settled", 0.6, (), "keep testing"),
        (BETTER, "does not pay", 0.01, (), "keep testing"),
        ([("worthwhile", "better"), ("some effect", "worse")], "pays", 0.99, (), "keep testing"),
        ([("not settled", "none")], "not settled", 0.5, (), "keep testing"),
        ([("not settled", "none")], "does not pay", 0.01, (), "drop"),
        ([("worthwhile", "worse"), ("not settled", "none")], "not known", 0.0, (), "drop"),
        ([("no worthwhile difference", "none")], "not settled", 0.5, (), "drop"),
        ([], "not known", 0.0, (), "keep testing"),
    ],
)
def test_a_decision_follows_from_verdicts_money_and_steadiness(
    verdicts, money, chance, unsteady, decision
):
    assert decide(verdicts, money, budget(chance), unsteady) == decision


def effects(study, verdict, direction):
    rows = [
        {"measure": m.id, "treatment": t, "verdict": verdict, "direction": direction}
        for m in study.measures
        for t in study.treatment_ids[1:]
    ]
    return pd.DataFrame(rows).reindex(columns=list(EFFECTS))


def money(study, word, **more):
    rows = [{"treatment": t, "word": word, **more} for t in study.treatment_ids[1:]]
    return Money(pd.DataFrame(rows).reindex(columns=list(BUDGET)))


def test_money_that_is_not_settled_names_the_price_that_it_takes(example_study):
    table = effects(example_study, "worthwhile", "better")
    paid = money(example_study, "not settled", chance=0.9, break_even_price=0.48, new_chance=0.7)
    found = recommendations(example_study, table, paid)
    assert [r.treatment for r in found] == list(example_study.treatment_ids[1:])
    assert found[0].decision == "recommend with conditions"
    assert found[0].conditions == ("where the price is clearly above 0.48 USD",)
    assert found[0].chance_elsewhere == 0.7
    assert set(found[0].effects) == {m.id for m in example_study.measures if m.primary}


def test_pressure_is_a_condition_where_the_effect_goes_along_with_it(example_study):
    trends = pd.DataFrame(
        [("netting", "pressure", -0.2, 0.01), ("kaolin", "pressure", -0.2, 0.4)],
        columns=["treatment", "condition", "slope", "p"],
    )
    table = effects(example_study, "worthwhile", "better")
    found = recommendations(example_study, table, money(example_study, "pays"), {}, trends)
    by = {r.treatment: r.conditions for r in found}
    assert by["netting"] == ("first of all where pest pressure is high (exploratory)",)
    assert by["kaolin"] == ()


def test_what_is_not_recommended_has_no_conditions(example_study):
    table = effects(example_study, "not settled", "none")
    found = recommendations(example_study, table, Money(pd.DataFrame(columns=list(BUDGET))))
    assert {(r.decision, r.conditions, r.money) for r in found} == {
        ("keep testing", (), "not known")
    }


@pytest.mark.parametrize(
    ("p", "slope", "said"),
    [
        (0.01, -0.2, ("first of all where pest pressure is high (exploratory)",)),
        (0.01, 0.2, ("first of all where pest pressure is low (exploratory)",)),
        (0.02, -0.2, ()),  # 0.02 x 4 treatments looked at is more than 0.05
    ],
)
def test_pressure_is_a_condition_only_where_all_that_was_looked_at_is_allowed_for(
    example_study, p, slope, said
):
    trends = pd.DataFrame(
        [(t, "pressure", slope, p) for t in example_study.treatment_ids[1:]],
        columns=["treatment", "condition", "slope", "p"],
    )
    table = effects(example_study, "worthwhile", "better")
    found = recommendations(example_study, table, money(example_study, "pays"), {}, trends)
    assert {one.conditions for one in found} == {said}
