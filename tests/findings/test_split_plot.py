"""A simulated split plot, its whole plots far apart, in findings and in what is asked of them."""

import numpy as np
import pandas as pd
import pytest

from trialkit.columns import PLOT_VALUES
from trialkit.findings import site_season_findings
from trialkit.findings.refit import analyse_again
from trialkit.findings.site_season import in_whole_plots
from trialkit.study import Layout

WHOLE_PLOTS = {"bare": ("check", "netting", "kaolin"), "covered": ("silver_mulch", "clover")}


@pytest.fixture
def study(example_study):
    layout = Layout(design="split_plot", whole_plots=WHOLE_PLOTS)
    return example_study.model_copy(update={"layout": layout})


@pytest.fixture
def values():
    """Yields in whole plots that vary by a third, plots in them by a thirtieth, no effects."""
    random = np.random.default_rng(5)
    rows = [
        {"season": 2024, "site": "alder_bench", "plot": f"{block}{treatment}", "block": str(block),
         "treatment": treatment, "measure": "marketable_yield", "left_out": "",
         "value": 3 * np.exp(whole + 0.03 * random.normal())}
        for block in range(1, 5)
        for level in WHOLE_PLOTS
        for whole in [0.3 * random.normal()]
        for treatment in WHOLE_PLOTS[level]
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=list(PLOT_VALUES))


def test_what_stands_in_another_whole_plot_is_less_sure(study, values):
    effects = site_season_findings(study, values).effects.set_index("treatment")
    ratio = effects.loc["silver_mulch", "se"] / effects.loc["netting", "se"]
    assert ratio > 4
    assert effects.loc["silver_mulch", "df"] < 4 < effects.loc["netting", "df"]
    assert effects.loc["silver_mulch", "verdict"] == "not settled"


def test_taken_as_complete_blocks_the_same_data_would_seem_surer(study, example_study, values):
    split, blocks = (site_season_findings(s, values).effects.set_index("treatment")
                     for s in (study, example_study))  # fmt: skip
    width = [one.loc["clover", "high"] - one.loc["clover", "low"] for one in (split, blocks)]
    assert width[0] > 1.5 * width[1]


def test_an_analysis_again_keeps_the_whole_plots(study, values):
    measure = study.measure("marketable_yield")
    again = analyse_again(study, measure, values.assign(environment="2024 alder_bench"))
    found = site_season_findings(study, values).effects.set_index("treatment")
    table = again.contrasts.set_index("treatment").loc[found.index]
    pd.testing.assert_series_equal(table["se"], found["se"], check_names=False)
    assert "between whole plots" in again.model.method


def test_treatments_of_one_whole_plot_alone_are_in_blocks(study, values):
    bare = values[values["treatment"].isin(WHOLE_PLOTS["bare"])]
    assert in_whole_plots(study, bare)[1] is None
    assert in_whole_plots(study, values)[1] == "whole_plot"
