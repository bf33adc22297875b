"""Every broken file of the corpus is told in full, with its place, and nothing else is."""

import pytest

from tests.intake.corpus import CASES, LAYOUT


def told(read, table):
    """Faults of one table, without those on whole tables that a dropped row entails."""
    return sorted(
        (f.code, f.row, f.column, f.severity)
        for f in read.faults
        if f.file.endswith(f"/{table}.csv") and f.code not in ("plot_without_rows",)
    )


def rows_out(read, table):
    out = read.left_out
    return sorted(out.loc[out["table"] == table, "row"])


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_file_is_told_with_its_place(mini, case):
    mini.change(case.table, case.old, case.new)
    read = mini.read()
    assert told(read, case.table) == sorted(case.faults)
    assert {f.file.rsplit("/", 1)[-1] for f in read.faults} <= {f"{case.table}.csv"}
    assert rows_out(read, case.table) == case.out
    assert all(fault.what and fault.remedy for fault in read.faults)


@pytest.mark.parametrize("case", LAYOUT, ids=lambda case: case.name)
def test_broken_layout_is_told_with_its_place(mini, case):
    mini.change("plots", case.old, case.new)
    read = mini.read()
    found = [one for one in told(read, "plots") if one[0] not in ("unbalanced_layout",)]
    assert found == sorted(case.faults)
    assert rows_out(read, "plots") == case.out
    assert not {f.code for f in read.faults} & {"unknown_plot"}
