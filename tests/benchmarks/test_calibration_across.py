"""A short run of the calibration across environments; the committed rows are held elsewhere."""

import first_stages
import joint_pools
import numpy as np
import pytest
import scenarios_across
from scenarios_across import Size

from trialkit.inference.count_plan import plan_pooling
from trialkit.inference.families import Binomial, Poisson
from trialkit.inference.first_stage import fit_environments
from trialkit.inference.joint_pooling import pool_jointly

CELLS = {cell.name: cell for cell in scenarios_across.cells()}
SHORT = [
    "across-normal-3x4-lost0-none",
    "across-normal-3x3-lost5-small",
    "across-counts-3x4-lost0-8-none",
    "across-shares-3x4-lost0-small",
]


@pytest.mark.parametrize("name", SHORT)
def test_a_short_run_is_compatible_with_the_nominal_rates(name):
    # Four standard errors of 150 data sets: 0.05 ± 0.071 and 0.95 ± 0.071.
    found = CELLS[name].run(150, seed=1)
    assert found["n"] == 150
    assert found["type1"] <= 0.121
    assert found["coverage"] >= 0.879


def test_the_same_seed_gives_the_same_numbers():
    cell = CELLS["across-normal-3x4-lost2-small"]
    assert cell.run(20, seed=5) == cell.run(20, seed=5)


def test_names_of_cells_are_unique():
    assert len(CELLS) == len(scenarios_across.cells())


def test_sites_without_a_rare_event_do_not_pull_the_pooled_ratio_to_one():
    # Half the odds of 5 %: in 88 of 100 studies of nine sites some treatment has nothing somewhere.
    size, rng, ratio = Size(9), np.random.default_rng(8), scenarios_across.LOG_RATIO
    link = [scenarios_across._link(size, np.log(5 / 95), 0.0, ratio, rng) for _ in range(200)]
    responses = rng.binomial(20, 1 / (1 + np.exp(-np.array(link)))).astype(float)
    layout = first_stages.Layout(*size.index(), 20.0)
    fits = joint_pools.pool(first_stages.fit(Binomial(), layout, responses)[1], 9)
    # The standard error of this mean is 0.015.
    assert np.mean([fit.ratio(4)[0] for fit in fits]) == pytest.approx(ratio, abs=0.05)


@pytest.mark.parametrize("family", ["count", "proportion"])
def test_many_studies_pooled_at_once_are_those_of_each_study(family):
    size, rng = Size(3), np.random.default_rng(4)
    e, b, t = size.index()
    share = family == "proportion"
    layout = first_stages.Layout(e, b, t, 20.0 if share else 1.0)
    responses = rng.binomial(20, 0.1, (12, len(e))).astype(float)
    responses[3, t == 2] = 0
    ordinary, stage = first_stages.fit(Binomial() if share else Poisson(), layout, responses)
    assert ordinary.tolist() == [i != 3 for i in range(12)]
    joints = joint_pools.pool(stage, 3)
    design = scenarios_across._design(size, family)
    for i, (place, joint) in enumerate(zip(np.flatnonzero(ordinary), joints, strict=True)):
        study = scenarios_across._with(design, (np.arange(len(e)), responses[place]))
        alone = fit_environments(plan_pooling(study))
        assert stage.clumping[3 * i, 0] == pytest.approx(alone.clumping, rel=1e-8)
        found = stage.fits[0].coefficients[3 * i : 3 * i + 3]
        assert found == pytest.approx(alone.fits[0].coefficients, abs=1e-8)
        one = pool_jointly(alone, scenarios_across.TREATMENTS, "REML")
        for name in ("effects", "covariance", "levels", "tau2", "factor", "q"):
            assert getattr(joint, name) == pytest.approx(getattr(one, name), rel=1e-7, abs=1e-9)
        assert (joint.df, joint.held) == (one.df, one.held)
        assert joint.prediction(4, 0.95) == pytest.approx(one.prediction(4, 0.95), rel=1e-6)
