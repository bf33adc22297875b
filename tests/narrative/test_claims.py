"""A claim stands by the interval and the verdict, and says why where it does not."""

from dataclasses import replace

import pytest

from tests.narrative.facts_for_tests import BETTER, UNSETTLED, WORSE, facts_of
from trialkit.narrative.claims import judge_claim
from trialkit.narrative.facts import Payoff

SOME = replace(BETTER, effect=-30.0, low=-50.0, high=-8.0, verdict="some effect")
NONE = replace(BETTER, effect=-4.0, low=-15.0, high=9.0, verdict="no worthwhile difference",
               direction="none")  # fmt: skip


def standing(condition, *effects, **changed):
    return judge_claim("So it is", condition, facts_of(*effects, **changed)).standing


@pytest.mark.parametrize(
    ("condition", "better", "some", "none", "worse"),
    [
        ("lowers beetles", "supported", "supported", "contradicted", "contradicted"),
        ("raises beetles", "contradicted", "contradicted", "contradicted", "supported"),
        ("improves beetles", "supported", "supported", "contradicted", "contradicted"),
        ("worsens beetles", "contradicted", "contradicted", "contradicted", "supported"),
        ("does not change beetles", "contradicted", "contradicted", "supported", "contradicted"),
        ("is not settled for beetles", *["contradicted"] * 4),
        ("lowers beetles by a worthwhile amount",
         "supported", "not settled", "contradicted", "contradicted"),
        ("lowers beetles by at least 30 %",
         "supported", "not settled", "contradicted", "contradicted"),
        ("lowers beetles by at least 80%", *["contradicted"] * 4),
        ("lowers beetles by at least 10 points", *["cannot be judged"] * 4),
    ],
)  # fmt: skip
def test_the_verdict_decides(condition, better, some, none, worse):
    found = [standing(f"netting {condition}", one) for one in (BETTER, SOME, NONE, WORSE)]
    assert found == [better, some, none, worse]


def test_what_is_not_settled_supports_only_that_it_is_not():
    assert standing("clover lowers beetles", UNSETTLED) == "not settled"
    assert standing("clover does not change beetles", UNSETTLED) == "not settled"
    assert standing("clover is not settled for beetles", UNSETTLED) == "supported"


def test_the_note_gives_estimate_and_interval():
    note = judge_claim("x", "netting raises beetles", facts_of(BETTER)).note.replace("\u00a0", " ")
    assert note == (
        "Flea beetle days, worthwhile: 62 % lower, 95 % interval 48 to 72 % lower."
    )  # fmt: skip


@pytest.mark.parametrize(
    ("condition", "told"),
    [
        ("neting lowers beetles", "Nearest are: netting"),
        ("netting lowers betles", "Nearest are: beetles"),
        ("netting kills beetles", "cannot be read"),
        ("netting lowers beetles a lot", "'a lot' cannot be read"),
        ("check lowers beetles", "is the untreated check"),
        ("netting does not change beetles by at least 5 %", "cannot be read"),
        ("netting pays", "prices or costs"),
        ("netting lowers beetles at every site", "one site and season"),
    ],
)
def test_what_cannot_be_judged_says_why(condition, told):
    claim = judge_claim("x", condition, facts_of(BETTER))
    assert claim.standing == "cannot be judged"
    assert told in claim.note


def test_an_unanswered_measure_gives_its_own_reason():
    facts = facts_of(unanswered={"beetles": "there is no plot with a value."})
    claim = judge_claim("x", "netting lowers beetles", facts)
    assert (claim.standing, claim.note) == ("cannot be judged", "there is no plot with a value.")


def test_every_site_means_each_finished_site_season_on_its_own():
    there = replace(BETTER, site="cedar_flat")
    condition = "netting lowers beetles at every site and in every season"
    pooled = {"across": True}
    assert standing(condition, BETTER, singles=(BETTER, there), **pooled) == "supported"
    mixed = facts_of(BETTER, singles=(BETTER, replace(WORSE, site="cedar_flat")), **pooled)
    claim = judge_claim("x", condition, mixed)
    assert claim.standing == "contradicted"
    assert "1 of 2 finished site-seasons; not in 2025 at cedar_flat" in claim.note


def test_whether_it_pays_is_taken_from_the_economics_once_there_are_any():
    payoffs = {"netting": Payoff("pays", "a gain in 95 of 100 draws"),
               "clover": Payoff("does not pay", "a loss")}  # fmt: skip
    assert standing("netting pays", BETTER, payoffs=payoffs) == "supported"
    assert standing("clover pays", BETTER, payoffs=payoffs) == "contradicted"
