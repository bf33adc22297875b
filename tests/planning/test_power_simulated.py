"""Power of counts and culls by simulation."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.api as sm

from trialkit.errors import AnalysisError
from trialkit.planning.power import Components, TrialSize, power_of_difference
from trialkit.planning.power_simulated import (
    Response,
    design_matrix,
    fit_many,
    simulated_power,
)

REFERENCE = Path(__file__).parents[1] / "reference" / "power"
COUNT = Response("count", check=20.0, overdispersion=8.0, block_sd=0.2)
CULLS = Response("proportion", check=0.2, overdispersion=0.02, trials=80, block_sd=0.2)


def test_many_count_models_at_once_agree_with_statsmodels():
    rng, design = np.random.default_rng(4), design_matrix(4, 5)
    y = rng.poisson(rng.gamma(4, 3, (6, 20)))
    beta, se = fit_many(y, 1.0, design, "count")
    for row, mine, error in zip(y, beta, se, strict=True):
        theirs = sm.GLM(row, design, family=sm.families.Poisson()).fit(scale="X2")
        assert mine == pytest.approx(theirs.params, rel=1e-6, abs=1e-8)
        assert error == pytest.approx(theirs.bse, rel=1e-6)


def test_a_proportion_model_agrees_with_r():
    """glm(..., quasibinomial) of base R; script and values in tests/reference/power."""
    culls = np.array([[11, 20, 9, 15, 22, 13, 8, 19, 14, 12, 25, 10]])
    r = pd.read_csv(REFERENCE / "culls.csv", comment="#")
    beta, se = fit_many(culls, 60.0, design_matrix(4, 3), "proportion")
    assert beta[0] == pytest.approx(r["estimate"].to_numpy(), rel=1e-8)
    assert se[0] == pytest.approx(r["se"].to_numpy(), rel=1e-8)


@pytest.mark.parametrize("response", [COUNT, CULLS])
@pytest.mark.parametrize("places", [(1, 1), (3, 2)])
def test_without_an_effect_about_one_in_twenty_is_found(response, places):
    size = TrialSize(5, 4, *places)
    assert simulated_power(response, 1.0, size, trials=2000) == pytest.approx(0.05, abs=0.02)


def test_power_grows_with_blocks_and_with_the_effect():
    few, more = (simulated_power(COUNT, 0.7, TrialSize(5, r)) for r in (3, 8))
    assert few + 0.1 < more
    assert simulated_power(COUNT, 0.5, TrialSize(5, 3)) > few + 0.1


def test_power_of_large_counts_is_near_the_normal_one():
    """Counts so large that log counts are normal: sd of a log is 1 / sqrt(k)."""
    size = TrialSize(5, 4)
    large = Response("count", check=50_000.0, overdispersion=400.0)
    normal = power_of_difference(np.log(0.9), Components(1 / np.sqrt(400)), size)
    assert simulated_power(large, 0.9, size, trials=4000) == pytest.approx(normal, abs=0.03)


def test_the_same_seed_gives_the_same_power():
    size = TrialSize(4, 3)
    one, two = (simulated_power(COUNT, 0.6, size, seed=9, trials=300) for _ in range(2))
    assert one == two


def test_treatments_without_any_insect_are_found():
    assert simulated_power(COUNT, 1e-9, TrialSize(5, 4), trials=300) > 0.95


@pytest.mark.parametrize(
    "wrong",
    [("count", 0.0, 2.0), ("count", 5.0, 0.0), ("count", 5.0, -1.0), ("proportion", 1.2, 0.0)],
)
def test_impossible_assumptions_name_the_entry(wrong):
    with pytest.raises(AnalysisError, match=r"layout\.assumptions"):
        Response(*wrong)
