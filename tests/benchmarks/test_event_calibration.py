"""A short run of the calibration of counts and culls."""

import pytest
import scenarios_counts
import scenarios_proportions

CELLS = {cell.name: cell for cell in (*scenarios_counts.cells(), *scenarios_proportions.cells())}
SHORT = (
    "counts-3-lost2-mean2-k0.8-none",
    "counts-4-lost0-mean8-k1.5-none",
    "counts-6-lost2-mean30-kinf-half",
    "culls-3-lost2-share5-rho0.1-none",
    "culls-4-lost0-share20-rho0.03-half",
)
BOUNDS = ("counts-bound-3-mean2-k1.5-ratio0.5", "culls-bound-3-rho0.1-ratio0.1")


@pytest.mark.parametrize("name", SHORT)
def test_a_short_run_is_compatible_with_the_nominal_rates(name):
    # Four standard errors of 400 data sets, those of one data set being dependent: 0.05 ± 0.044.
    found = CELLS[name].run(400, seed=1)
    assert found["type1"] != found["type1"] or 0.006 <= found["type1"] <= 0.094
    assert found["coverage"] >= 0.906


@pytest.mark.parametrize("name", BOUNDS)
def test_bounds_hold_at_least_what_they_promise(name):
    # Four standard errors of 300 data sets below 0.95.
    assert CELLS[name].run(300, seed=1)["coverage"] >= 0.90
