"""A short run of the calibration across environments; the committed rows are held elsewhere."""

import pytest
import scenarios_across

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
