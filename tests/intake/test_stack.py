"""Several visits' files for one table: stacked, every fault still names its file and row."""

from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from tests.intake.conftest import HARVEST, PLOTS, SCOUTING, _cell
from trialkit.errors import Fault

HEADER, *LINES = SCOUTING.splitlines()
FIRST, SECOND = "scouting_2026-06-05", "scouting_2026-06-15"


def book(mini, name: str, **tables: list[str]) -> Path:
    """Write one visit's workbook, each sheet given as lines."""
    made = openpyxl.Workbook()
    made.remove(made.active)
    for title, lines in tables.items():
        sheet = made.create_sheet(title)
        for line in lines:
            sheet.append([_cell(cell) for cell in line.split(",")])
    made.save(mini.site / f"{name}.xlsx")
    return mini.site / f"{name}.xlsx"


@pytest.fixture
def visits(mini):
    """The small study with its two scouting days in two workbooks."""
    (mini.site / "scouting.csv").unlink()
    book(mini, FIRST, scouting=[HEADER, *LINES[:4]])
    book(mini, SECOND, scouting=[HEADER, *LINES[4:]])
    return mini


def place(fault: Fault) -> tuple[str, str, int, str]:
    return fault.code, Path(fault.file).name, fault.row, fault.column


def told(mini) -> list[tuple[str, str, int, str]]:
    return [place(fault) for fault in mini.read().errors]


def rows(frame: pd.DataFrame) -> pd.DataFrame:
    return frame.sort_values(list(frame.columns[:5])).reset_index(drop=True)


def test_visits_read_like_the_one_table(mini, visits):
    stacked = visits.read()
    assert [str(fault) for fault in stacked.faults] == []
    for path in mini.site.glob("scouting_*.xlsx"):
        path.unlink()
    mini.write("scouting", SCOUTING)
    pd.testing.assert_frame_equal(
        stacked.tables["scouting"].reset_index(drop=True),
        mini.read().tables["scouting"].reset_index(drop=True),
    )


def test_every_file_is_on_record_with_its_rows(visits):
    records = {Path(record.path).name: record.rows for record in visits.read().files}
    assert records[f"{FIRST}.xlsx"] == records[f"{SECOND}.xlsx"] == 4


def test_the_order_of_files_does_not_matter(visits):
    before = visits.read().tables["scouting"]
    (visits.site / f"{FIRST}.xlsx").rename(visits.site / "scouting_2026-06-30.xlsx")
    after = visits.read().tables["scouting"]
    assert before["date"].tolist() != after["date"].tolist()
    pd.testing.assert_frame_equal(rows(before), rows(after))


def test_text_files_and_a_whole_table_stack_as_well(visits):
    visits.write("scouting", "\n".join([HEADER, *LINES[:2]]))
    (visits.site / f"{FIRST}.xlsx").unlink()
    visits.write(FIRST, "\n".join([HEADER, *LINES[2:4]]))
    assert told(visits) == []
    assert len(visits.read().tables["scouting"]) == 8


def test_a_fault_names_the_file_and_row_it_is_in(visits):
    book(visits, SECOND, scouting=[HEADER, *LINES[4:6], LINES[6].replace(",1,AB", ",many,AB")])
    assert told(visits) == [("text_in_number", f"{SECOND}.xlsx#scouting", 4, "count")]
    left_out = visits.read().left_out
    assert left_out[["file", "row"]].values.tolist() == [
        [f"data/2026/north/{SECOND}.xlsx#scouting", 4]
    ]


def test_the_same_rows_in_two_files_are_a_fault_with_both_places(visits):
    book(visits, "scouting_2026-06-15 (copy)", scouting=[HEADER, *LINES[4:]])
    found = visits.read().errors
    copies = [("duplicate_row", f"{SECOND}.xlsx#scouting", row, "date") for row in (2, 3, 4, 5)]
    assert [place(fault) for fault in found] == copies
    copy = "scouting_2026-06-15 (copy).xlsx#scouting"
    assert found[0].what == f"the row says the same as row 2 of {copy}"
    assert len(visits.read().tables["scouting"]) == 8


def test_two_counts_of_one_plant_in_two_files_name_each_other(visits):
    other = [LINES[4].replace(",9,", ",8,"), LINES[7].replace(",202,1,", ",202,2,")]
    book(visits, "scouting_2026-06-16", scouting=[HEADER, *other])
    first, second = visits.read().errors
    assert place(first) == ("conflicting_rows", f"{SECOND}.xlsx#scouting", 2, "date")
    assert place(second) == ("conflicting_rows", "scouting_2026-06-16.xlsx#scouting", 2, "date")
    assert f"row 2 of {SECOND}.xlsx#scouting has the same date, plot, plant" in second.what


def test_a_picking_in_two_files_never_adds_up_twice(mini):
    header, line = HARVEST.splitlines()[0], "2026-08-01,102,marketable,,13,4.1"
    book(mini, "harvest_2026-08-01", harvest=[header, line])
    found = {place(fault)[:3] for fault in mini.read().errors}
    assert found == {
        ("conflicting_rows", "harvest.csv", 4),
        ("conflicting_rows", "harvest_2026-08-01.xlsx#harvest", 2),
    }
    assert "102" not in set(mini.read().tables["harvest"]["plot"])


def test_corrections_find_the_file_that_they_name(visits):
    header = "file,row,key,column,was,now,who,when,why"
    line = f"data/2026/north/{SECOND}.xlsx#scouting,2,,count,9,19,AB,2026-07-01,misread"
    (visits.folder / "corrections.csv").write_text(f"{header}\n{line}\n")
    read = visits.read()
    assert read.errors == ()
    assert read.tables["scouting"]["count"].tolist() == [4, 0, 1, 6, 19, 2, 1, 12]
    assert read.corrections["file"].tolist() == [f"data/2026/north/{SECOND}.xlsx#scouting"]


def test_a_visit_that_cannot_be_read_keeps_its_table_out(visits):
    (visits.site / f"{SECOND}.xlsx").write_bytes(b"not a workbook")
    read = visits.read()
    assert [place(fault) for fault in read.errors] == [("unreadable", f"{SECOND}.xlsx", 0, "")]
    assert read.usable
    assert read.tables["scouting"].empty
    assert len(read.tables["harvest"]) == 5
    assert SECOND in read.left_out["reason"].item()


def test_a_visit_without_a_column_keeps_its_table_out(visits):
    book(visits, SECOND, scouting=[HEADER.replace("count", "seen"), *LINES[4:]])
    read = visits.read()
    assert {fault.file.rpartition("/")[2] for fault in read.errors} == {f"{SECOND}.xlsx#scouting"}
    assert read.tables["scouting"].empty


def test_a_lone_sheet_may_have_any_title(visits):
    book(visits, SECOND, Sheet1=[HEADER, *LINES[4:]])
    assert told(visits) == []
    assert len(visits.read().tables["scouting"]) == 8


def test_lists_of_plots_that_agree_are_one_and_a_loss_in_any_counts(visits):
    header, *lines = PLOTS.splitlines()
    lost = [lines[0], lines[1] + "flooded", *lines[2:]]
    book(visits, FIRST, scouting=[HEADER, *LINES[:4]], plots=[header, *lines])
    book(visits, SECOND, scouting=[HEADER, *LINES[4:]], plots=[header, *lost])
    plots = visits.read().tables["plots"]
    assert sorted(plots["plot"]) == ["101", "102", "201", "202"]
    assert plots.loc[plots["lost"].notna(), "plot"].tolist() == ["102"]


def test_lists_of_plots_that_disagree_are_a_fault_in_both_files(visits):
    header, *lines = PLOTS.splitlines()
    lines[0] = lines[0].replace("check", "netting")
    book(visits, FIRST, scouting=[HEADER, *LINES[:4]], plots=[header, *lines])
    found = [one for one in told(visits) if one[0] == "duplicate_plot"]
    assert found == [
        ("duplicate_plot", "plots.csv", 2, "plot"),
        ("duplicate_plot", f"{FIRST}.xlsx#plots", 2, "plot"),
    ]


def test_a_visit_beside_a_mapped_study_stacks(visits):
    text = (visits.folder / "study.toml").read_text()
    mapping = '[intake.scouting]\nfiles = ["scouting_*"]\nsheets = ["*"]\n'
    (visits.folder / "study.toml").write_text(f"{text}\n{mapping}")
    assert told(visits) == []
    assert len(visits.read().tables["scouting"]) == 8


def test_a_copy_that_nobody_filled_in_denies_nothing(visits):
    blank = [",".join([*line.split(",")[:5], "", "", ""]) for line in LINES[4:]]
    book(visits, "scouting_2026-06-15 blank", scouting=[HEADER, *blank])
    read = visits.read()
    assert read.errors == ()
    assert len(read.tables["scouting"]) == 8
