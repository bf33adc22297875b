"""A line of corrections.csv reaches the reports that it can change, and no other."""

from pathlib import Path

import pytest

from trialkit.batch.correction_lines import corrections_by_place

PLACES = ((2024, "north"), (2024, "south"))
HEAD = "file,row,key,column,was,now,code,who,when,why"
NORTH = "data/2024/north/scouting.csv,3,,count,12,21,,ann,2024-06-01,swapped digits"
SOUTH = "data/2024/south/scouting.csv,4,,count,5,50,,ann,2024-06-01,a digit lost"


def found(folder: Path, *lines: str) -> dict:
    path = folder / "corrections.csv"
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return dict(corrections_by_place(path, PLACES))


def moved(before: dict, after: dict) -> set[str]:
    return {site for season, site in PLACES if before[season, site] != after[season, site]}


# Lines before, lines after, and the sites whose reports follow.
CASES = {
    "a line for the north": ([HEAD, SOUTH], [HEAD, SOUTH, NORTH], {"north"}),
    "a first line for the north": ([HEAD], [HEAD, NORTH], {"north"}),
    "another value": ([HEAD, NORTH, SOUTH], [HEAD, NORTH, SOUTH.replace("50", "55")], {"south"}),
    "another reason": ([HEAD, NORTH], [HEAD, NORTH.replace("swapped", "mixed up")], {"north"}),
    "a line taken out": ([HEAD, SOUTH, NORTH], [HEAD, SOUTH], {"north"}),
    "a line that nobody signed": (
        [HEAD, NORTH], [HEAD, NORTH, SOUTH.replace("ann", "")], {"north", "south"}
    ),
    "a line without a row": (
        [HEAD, NORTH], [HEAD, NORTH, SOUTH.replace(",4,", ",four,")], {"north", "south"}
    ),
    "a cell that is corrected twice": (
        [HEAD, SOUTH], [HEAD, SOUTH, SOUTH.replace("50", "60")], {"north", "south"}
    ),
    "a line on another file": (
        [HEAD], [HEAD, NORTH.replace("data/2024/north/scouting", "costs")], {"north", "south"}
    ),
    "a line moved down": ([HEAD, NORTH, SOUTH], [HEAD, "", NORTH, SOUTH], {"north", "south"}),
    "another header": ([HEAD, NORTH], [HEAD.replace("why", "reason"), NORTH], {"north", "south"}),
    "a cell too many": ([HEAD, NORTH], [HEAD, NORTH, f"{SOUTH},more"], {"north", "south"}),
    "backslashes": ([HEAD], [HEAD, NORTH.replace("/", "\\")], {"north"}),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_a_line_reaches_the_reports_that_it_can_change(tmp_path: Path, case: str) -> None:
    before, after, sites = CASES[case]
    assert moved(found(tmp_path, *before), found(tmp_path, *after)) == sites


def test_an_empty_line_at_the_end_changes_nothing(tmp_path: Path) -> None:
    assert found(tmp_path, HEAD, NORTH) == found(tmp_path, HEAD, NORTH, "")


def test_a_file_that_appears_concerns_all_and_one_that_is_no_text_too(tmp_path: Path) -> None:
    path = tmp_path / "corrections.csv"
    absent = corrections_by_place(path, PLACES)
    assert moved(absent, found(tmp_path, HEAD)) == {"north", "south"}
    path.write_bytes(b"\xff\xfe file")
    first = corrections_by_place(path, PLACES)
    path.write_bytes(b"\xff\xfe files")
    assert moved(first, corrections_by_place(path, PLACES)) == {"north", "south"}
