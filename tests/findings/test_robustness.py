"""The same contrasts under other choices, and what is said where a verdict hangs on one."""

import math

import numpy as np
import pandas as pd
import pytest

from tests.findings.places import environments_of
from trialkit.findings import across_findings, site_season_findings
from trialkit.findings.refit import Way, analyse_again, each_place, values_of
from trialkit.findings.robustness import (
    INDEPENDENT,
    REPORTED,
    Choices,
    depends,
    in_words,
    pooled_ratios,
    robustness,
)
from trialkit.inference.pooling import pool


@pytest.fixture(scope="module")
def places(example_study):
    return environments_of(example_study)


@pytest.fixture(scope="module")
def measure(example_study):
    return example_study.measure("marketable_yield")


@pytest.fixture(scope="module")
def table(example_study, measure, places):
    choices = Choices(
        departed=((2025, "cedar_flat"), (2024, "cedar_flat")),
        alternatives={"corrections undone": environments_of(example_study, means=(2, 2, 2, 2, 2))},
    )
    return robustness(example_study, measure, places, choices)


def test_every_choice_that_can_be_made_has_its_row(table):
    assert list(dict.fromkeys(table["label"])) == [
        REPORTED,
        "on logarithms",
        INDEPENDENT,
        "each treatment judged alone",
        "without Cedar Flat 2024 and 2025 (other protocol)",
        "corrections undone",
        "ratios of the site-seasons pooled",
    ]


def test_the_first_rows_are_those_of_the_report(example_study, table, places):
    reported = table[table["label"] == REPORTED].set_index("treatment")
    whole = across_findings(example_study, places).pooled.effects.set_index("treatment")
    assert reported["effect"].to_dict() == pytest.approx(whole["effect"].to_dict())
    assert reported["verdict"].to_dict() == whole["verdict"].to_dict()


def test_a_block_that_lost_a_plot_drops_out_in_the_choice_of_complete_blocks(
    example_study, measure, places
):
    first = places[0]
    values = first.values.assign(left_out=["flooded", *[""] * (len(first.values) - 1)])
    lost = [type(first)(first.season, first.site, values, first.effects), *places[1:]]
    labels = set(robustness(example_study, measure, lost)["label"])
    assert "complete blocks only" in labels


def test_pooled_ratios_are_those_of_the_log_ratios(example_study, measure, places):
    apart = each_place(example_study, measure, places).values()
    found = pooled_ratios(example_study, measure, apart).set_index("treatment").loc["netting"]
    logs, errors = [], []
    for place in places:
        means = site_season_findings(example_study, place.values).analyses[measure.id].model.means
        m, v = means.estimate, means.covariance
        i, j = means.treatments.index("netting"), means.treatments.index("check")
        gradient = np.array([1 / m[i], -1 / m[j]])
        part = v[[i, j]][:, [i, j]]
        logs.append(math.log(m[i] / m[j]))
        errors.append(float(gradient @ part @ gradient) ** 0.5)
    done = pool(logs, errors, level=1 - 0.05 / 4)
    assert (found["estimate"], found["low"], found["high"]) == pytest.approx(
        (done.estimate, done.low, done.high)
    )


def test_where_a_verdict_hangs_on_a_choice_it_is_said(example_study, measure, table):
    changing = depends(table)
    assert "corrections undone" in changing["netting"]["not settled"] + changing["netting"].get(
        "no worthwhile difference", []
    )
    told = " ".join(in_words(example_study, measure, table))
    assert "the verdict depends on how one looks" in told


def test_a_steady_verdict_is_said_to_be_steady(example_study, measure, table):
    steady = table[table["label"] != "corrections undone"]
    told = in_words(example_study, measure, steady[steady["treatment"] == "netting"])
    assert told == [
        "Marketable yield, Fine-mesh netting to first bloom: worthwhile under every one of the "
        "6 choices."
    ]


def test_site_seasons_as_independent_is_the_answer_without_sites(
    example_study, measure, places, table
):
    alone = analyse_again(example_study, measure, values_of(measure, places), Way(independent=True))
    assert "site" not in alone.model.components
    row = table[(table["label"] == INDEPENDENT) & (table["treatment"] == "netting")].iloc[0]
    expected = alone.contrasts.set_index("treatment").loc["netting", "se"]
    assert row["se"] == pytest.approx(expected)


def test_places_of_one_season_are_independent_anyway(example_study, measure, places):
    table = robustness(example_study, measure, places[:3])
    assert INDEPENDENT not in set(table["label"])


def test_analyses_at_hand_give_what_analysing_anew_gives(example_study, measure, places):
    reported = analyse_again(example_study, measure, values_of(measure, places))
    at_hand = Choices(reported=reported, by_place=each_place(example_study, measure, places))
    pd.testing.assert_frame_equal(
        robustness(example_study, measure, places, at_hand),
        robustness(example_study, measure, places),
    )


def test_a_treatment_judged_alone_is_the_analysis_without_adjustment(
    example_study, measure, places, table
):
    alone = analyse_again(example_study, measure, values_of(measure, places), Way(adjust="none"))
    rows = table[table["label"] == "each treatment judged alone"]
    expected = alone.contrasts.set_index("treatment")["low"]
    assert rows.set_index("treatment")["low"].to_dict() == expected.to_dict()
