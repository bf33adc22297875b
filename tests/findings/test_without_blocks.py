"""A completely randomised trial: all its plots in one block, every treatment several times."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.columns import PLOT_VALUES
from trialkit.findings.site_season import analyse, block_of
from trialkit.study import read_study

STUDY = read_study("data_examples/eggplant_flea_beetle")


@pytest.fixture
def values() -> pd.DataFrame:
    rng, treatments = np.random.default_rng(1), STUDY.treatment_ids
    frame = pd.DataFrame({"treatment": list(treatments) * 4}).assign(
        season=2026, site="alder_bench"
    )
    frame = frame.assign(plot=[str(n) for n in range(20)], block="1", left_out="")
    frame = frame.assign(measure="marketable_yield", value=rng.normal(10, 1, 20))
    return frame.reindex(columns=list(PLOT_VALUES)).fillna({"left_out": ""})


def test_it_is_analysed_without_blocks_as_a_one_way_layout(values):
    found = analyse(STUDY, STUDY.measure("marketable_yield"), values)
    groups = [one["value"].to_numpy() for _, one in values.groupby("treatment")]
    theirs = stats.f_oneway(*groups)
    tests = found.model.tests.set_index("term")
    assert tests.loc["treatment", "df2"] == 15
    assert tests.loc["treatment", "F"] == pytest.approx(theirs.statistic)
    assert tests.loc["treatment", "p"] == pytest.approx(theirs.pvalue)


def test_blocks_that_hold_every_treatment_once_stay_blocks(values):
    blocked = values.assign(block=[str(n // 5) for n in range(20)])
    assert block_of(blocked) == "block"
    assert block_of(blocked[blocked["block"] == "0"]) == "block"
    assert block_of(values) is None
