"""Power of split plots against R, against simulated trials and against the strata of the report."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.planning.how_much import assumption_of, how_much, sizes_in_reach
from trialkit.planning.power import (
    Components,
    TrialSize,
    power_of_difference,
    power_of_split_plot_f,
    residual_df,
    smallest_detectable,
    split_plot_error,
    standard_error,
    too_few,
    whole_plot_df,
)
from trialkit.planning.spread_split import split_components

R = pd.read_csv(
    Path(__file__).parents[1] / "reference" / "power" / "split_plot.csv",
    comment="#",
    index_col="case",
)["value"]
PARTS = Components(plot=0.6, whole_plot=0.5)
LEVELS = {"one": ("a", "b"), "two": ("c", "d"), "three": ("e", "f")}
SPLIT = """
design = "split_plot"
whole_plots = { open = ["check", "kaolin", "silver_mulch"], netted = ["netting", "clover", "oil"] }
reach = { blocks = 6, sites = 2, seasons = 2 }
"""


def size(blocks: int, **places: int) -> TrialSize:
    return TrialSize(6, blocks, design="split_plot", whole_plots=3, **places)


def trials(runs: int, blocks: int, rng, gain: float = 0.0) -> np.ndarray:
    """Plots (runs, blocks, whole plots, treatments in them); the first treatment gains."""
    y = rng.normal(0, 0.6, (runs, blocks, 3, 2)) + rng.normal(0, 0.5, (runs, blocks, 3, 1))
    y[:, :, 0, 0] += gain
    return y + rng.normal(0, 2, (runs, blocks, 1, 1))


@pytest.mark.parametrize("blocks", [3, 4, 8])
def test_degrees_of_freedom_of_both_strata_as_r(blocks):
    assert whole_plot_df(size(blocks)) == R[f"df_whole_{blocks}"]
    assert residual_df(size(blocks)) == R[f"df_sub_{blocks}"]


@pytest.mark.parametrize("blocks", [3, 4, 8])
@pytest.mark.parametrize(("factor", "means"), [("whole", [0, 0, 1]), ("sub", [0, 0.7])])
def test_f_tests_of_both_strata_as_r(blocks, factor, means):
    found = power_of_split_plot_f(means, PARTS, size(blocks), f"{factor}_plots")
    assert found == pytest.approx(R[f"{factor}_{blocks}"], rel=1e-8)


def test_standard_errors_by_hand():
    """Within 2 (.36) / 4 = .18; apart 2 (.36 + .36 + 2 (.25)) / 8 = 2 (.36 + .25) / 4 = .305."""
    within, df = split_plot_error(PARTS, size(4), apart=False)
    assert (within**2, df) == (pytest.approx(0.18), 9.0)
    apart, df = standard_error(PARTS, size(4))
    assert apart**2 == pytest.approx(0.305)
    assert df == pytest.approx((0.36 + 0.86) ** 2 / (0.36**2 / 9 + 0.86**2 / 6))


@pytest.mark.parametrize("apart", [True, False])
def test_standard_errors_are_those_of_simulated_trials(apart):
    y = trials(40_000, 4, np.random.default_rng(2)).mean(axis=1)
    other = y[:, 1, 0] if apart else y[:, 0, 1]
    se, _ = split_plot_error(PARTS, size(4), apart=apart)
    assert (y[:, 0, 0] - other).std() == pytest.approx(se, rel=0.02)


def test_power_of_treatments_apart_is_what_simulated_trials_give():
    y, runs = trials(20_000, 4, np.random.default_rng(5), gain=1.2), 20_000
    left = y - y.mean(axis=(2, 3), keepdims=True) - y.mean(axis=1, keepdims=True)
    left += y.mean(axis=(1, 2, 3), keepdims=True)
    whole = left.mean(axis=3, keepdims=True)
    between = 2 * (whole**2).sum(axis=(1, 2, 3)) / 6
    within = ((left - whole) ** 2).sum(axis=(1, 2, 3)) / 9
    variance = 2 * (within + between) / 8
    df = (within + between) ** 2 / (within**2 / 9 + between**2 / 6)
    statistic = (y[:, :, 0, 0] - y[:, :, 1, 0]).mean(axis=1) / np.sqrt(variance)
    share = (np.abs(statistic) > stats.t.ppf(0.975, df)).sum() / runs
    assert power_of_difference(1.2, PARTS, size(4)) == pytest.approx(share, abs=0.02)


def test_one_treatment_a_whole_plot_is_a_trial_in_blocks():
    split = TrialSize(3, 5, design="split_plot", whole_plots=3)
    se, df = standard_error(Components(0.6, whole_plot=0.5), split)
    blocks = standard_error(Components(np.hypot(0.6, 0.5)), TrialSize(3, 5))
    assert (se, df) == (pytest.approx(blocks[0]), pytest.approx(blocks[1]))


def test_more_site_seasons_make_a_split_plot_surer():
    sizes = [size(4, sites=sites, seasons=seasons) for sites, seasons in ((2, 1), (2, 2), (4, 2))]
    parts = Components(0.6, 0.2, whole_plot=0.5)
    found = [smallest_detectable(parts, one) for one in sizes]
    assert found[0] > found[1] > found[2]


def test_whole_plots_are_counted_for_the_warning():
    assert "6 degrees of freedom between whole plots" in too_few(size(4))
    assert too_few(size(7)) == ""


def test_components_come_back_from_simulated_plots():
    y, rng = [], np.random.default_rng(8)
    for place, one in enumerate(trials(200, 4, rng)):
        index = np.array([(b, t) for b in range(4) for t in "abcdef"])
        frame = pd.DataFrame({"block": index[:, 0], "treatment": index[:, 1]})
        y.append(frame.assign(response=one.reshape(-1), place=place))
    found = split_components(pd.concat(y), LEVELS)
    assert found.plot == pytest.approx(0.36, rel=0.06)
    assert found.whole_plot == pytest.approx(0.25, rel=0.15)


def test_components_are_those_of_the_reports_strata():
    """A factorial split plot, where the report's own analysis by error strata applies."""
    from trialkit.inference.design import make_design
    from trialkit.inference.split_plot import components, split_strata

    (one,) = trials(1, 4, np.random.default_rng(3))
    index = [(f"b{b}", f"w{w}", f"s{s}") for b in range(4) for w in range(3) for s in range(2)]
    frame = pd.DataFrame(index, columns=["block", "whole", "sub"]).assign(y=one.reshape(-1))
    names = {"treatment": "sub", "block": "block", "whole_plot": "whole"}
    theirs = components(split_strata(make_design(frame, response="y", **names)))
    plots = frame.assign(response=frame["y"], treatment=frame["whole"] + frame["sub"], place=1)
    levels = {f"w{w}": [f"w{w}s0", f"w{w}s1"] for w in range(3)}
    found = split_components(plots, levels)
    assert found.plot == pytest.approx(theirs["residual"])
    assert found.whole_plot == pytest.approx(max(0.0, theirs["block:whole_plot"]))


def planned_split(planned):
    oil = '[[treatments]]\nid = "oil"\nname = "Oil"\n'
    return planned(SPLIT, oil)


def test_a_planned_split_plot_is_sized_as_one(planned):
    study = planned_split(planned)
    tried = sizes_in_reach(study)
    assert {(one.design, one.whole_plots) for one in tried} == {("split_plot", 2)}
    answers = {one.measure.id: one for one in how_much(study)}
    table = answers["marketable_yield"].table.set_index(["blocks", "sites", "seasons"])
    assert table.loc[(4, 1, 1), "residual_df"] == 2 * 3 * 2
    assert answers["flea_beetle_days"].table["power"].between(0, 1).all()


def test_whole_plot_spread_costs_power(planned):
    study = planned_split(planned)
    measure = study.measure("marketable_yield")
    usual = assumption_of(study, measure, {})
    rough = {measure.id: usual.model_copy(update={"whole_plot_sd": 20.0})}
    plain, worse = (
        next(one for one in how_much(study, known) if one.measure.id == measure.id).table["power"]
        for known in ({}, rough)
    )
    assert (worse < plain).all()
