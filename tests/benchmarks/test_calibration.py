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
    assert (table["n"] >= 4000).all()
    missed = {row["name"]: calibrate.fails(row) for row in table.to_dict(orient="records")}
    assert not {name: what for name, what in missed.items() if what}


def test_the_table_holds_every_cell_once_under_its_own_seed():
    table = calibrate.read_table()
    assert table["name"].tolist() == [cell.name for cell in calibrate.scenario_cells()]
    assert table["seed"].tolist() == [calibrate.seed_of(name) for name in table["name"]]


def test_a_row_outside_the_bar_is_found():
    row = {"type1": 0.05, "coverage": 0.95, "bound": False}
    assert not calibrate.fails(row)
    assert calibrate.fails(row | {"coverage": 0.966}) == ["coverage 0.9660"]
    assert calibrate.fails(row | {"coverage": 0.934}) == ["coverage 0.9340"]
    assert calibrate.fails(row | {"type1": 0.066}) == ["type I error 0.0660"]
    assert calibrate.fails(row | {"bound": True, "coverage": 0.94}) == ["coverage 0.9400"]
    assert not calibrate.fails(row | {"bound": True, "coverage": 0.999})


def test_the_table_for_readers_is_that_of_the_numbers():
    text = (calibrate.HERE / "calibration.md").read_text()
    assert text == calibrate.markdown(calibrate.read_table())
