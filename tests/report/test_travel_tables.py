"""Tables and sentences on whether effects travel, what would settle the rest, what to do."""

import pandas as pd
import pytest

from trialkit.findings.recommendation import Recommendation
from trialkit.findings.still_needed import NEEDED
from trialkit.report import travel

CONDITIONS = {"pressure": "Pest pressure in the check", "hot_days": "Hot days in bloom"}


def rows(*pairs, label="as reported"):
    frame = pd.DataFrame(pairs, columns=["treatment", "verdict"])
    return frame.assign(measure="marketable_yield", label=label)


@pytest.fixture
def measure(example_study):
    return example_study.measure("marketable_yield")


def test_a_verdict_that_hangs_on_one_place_is_said_with_the_place(example_study, measure):
    reported = rows(("netting", "worthwhile"), ("clover", "not settled"))
    without = pd.concat(
        [
            rows(("netting", "worthwhile"), ("clover", "not settled"), label="without A 2024"),
            rows(("netting", "some effect"), ("clover", "not settled"), label="without B 2024"),
        ]
    )
    told = travel.without_words(example_study, measure, reported, without, "site-season")
    assert "Netting (worthwhile as reported, some effect without B 2024)" in told
    assert "Clover" not in told


def test_where_none_hangs_on_a_place_that_is_said(example_study, measure):
    reported = rows(("netting", "worthwhile"))
    without = rows(("netting", "worthwhile"), label="without A")
    told = travel.without_words(example_study, measure, reported, without, "site or season")
    assert "no verdict changes when any one site or season is left out" in told


def test_where_nothing_was_left_out_it_is_said_what_that_takes(example_study, measure):
    reported = rows(("netting", "worthwhile"))
    told = travel.without_words(
        example_study, measure, reported, reported.iloc[:0], "site or season"
    )
    assert "nothing was left out in turn. That takes at least 3 site-seasons" in told


def test_a_condition_that_cannot_be_tested_is_named():
    trends = pd.DataFrame({"condition": ["pressure"]})
    assert "hot days in bloom" in travel.untested_words(trends, CONDITIONS)
    both = pd.DataFrame({"condition": ["pressure", "hot_days"]})
    assert travel.untested_words(both, CONDITIONS) == ""


def needed(**changes):
    row = {"measure": "marketable_yield", "treatment": "clover", "site_seasons": 6,
           "how": "as so far", "blocks": 4, "more": 9, "seasons": 3, "chance": 0.84,
           "cost": 15900.0} | changes  # fmt: skip
    return pd.DataFrame([row], columns=list(NEEDED)).astype({"more": "Int64", "seasons": "Int64"})


@pytest.mark.parametrize(
    ("change", "cells"),
    [
        ({}, ("9", "3", "2", "84 %", "15,900")),
        ({"cost": float("nan")}, ("9", "3", "2", "84 %", "not known")),
        ({"more": pd.NA, "chance": 0.6}, ("more than 60", "–", "–", "60 %", "–")),
        ({"more": pd.NA, "chance": float("nan")}, ("not known", "–", "–", "–", "–")),
    ],
)
def test_what_would_settle_it_is_a_row_of_seasons_chance_and_cost(example_study, change, cells):
    (row,) = travel.needed_table(example_study, needed(**change)).rows
    assert row[:2] == ("Marketable yield, Clover", "4 (as so far)")
    assert tuple(cell.replace("\u00a0", " ") for cell in row[2:]) == cells


def test_a_recommendation_stands_with_its_conditions_and_what_does_better(example_study):
    budget = {"gain": 100.0, "gain_low": 10.0, "gain_high": 190.0, "new_chance": 0.8}
    one = Recommendation(
        "netting", {}, "pays", budget, (), "recommend with conditions", ("where it is dry",),
        beaten_by="kaolin", beaten_chance=0.77,
    )  # fmt: skip
    (row,) = travel.recommendation_table(example_study, [one]).rows
    assert row[1] == "recommend with conditions: where it is dry"
    assert row[4].replace("\u00a0", " ") == (
        "100 (10 to 190); pays; Kaolin costs no more, chance that it returns more 77 %"
    )
    assert row[-1] == "verdicts firm"
