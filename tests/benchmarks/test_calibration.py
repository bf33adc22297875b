"""A short run of the calibration, and the committed table held to its bar."""

import calibrate
import pytest
import scenarios_normal

CELLS = {cell.name: cell for cell in scenarios_normal.cells()}


@pytest.mark.parametrize("name", CELLS)
def test_a_short_run_is_compatible_with_the_nominal_rates(name):
    # Four standard errors of 400 data sets: 0.05 ± 0.044 and, at the least dependent, 0.95 ± 0.044.
    found = CELLS[name].run(400, seed=1)
    assert found["n"] == 400
    assert 0.006 <= found["type1"] <= 0.094
    assert found["coverage"] != found["coverage"] or found["coverage"] >= 0.906


def test_the_same_seed_gives_the_same_numbers():
    cell = CELLS["normal-rcbd-3-lost2-each"]
    assert cell.run(80, seed=5) == cell.run(80, seed=5)
    assert cell.run(80, seed=5) != cell.run(80, seed=6)


def test_every_row_of_the_committed_table_meets_the_bar():
    table = calibrate.read_table()
    assert len(table) >= len(CELLS)
    assert (table["n"] >= 4000).all()
    missed = {row["name"]: calibrate.fails(row) for row in table.to_dict(orient="records")}
    assert {name: what for name, what in missed.items() if what} == {}


def test_the_table_for_readers_is_that_of_the_numbers():
    text = (calibrate.HERE / "calibration.md").read_text()
    assert text == calibrate.markdown(calibrate.read_table())
