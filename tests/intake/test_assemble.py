"""What is absent, empty or odd about a site-season as a whole."""

import shutil

from tests.intake.conftest import HARVEST, PLOTS
from trialkit.intake import blank_tables, check_study


def told(read):
    return sorted((f.code, f.file.rsplit("/", 1)[-1], f.severity) for f in read.faults)


def blank(mini):
    """Leave header rows only, in every table of every planned site-season's folder."""
    for table, names in blank_tables(mini.study()).items():
        if table != "costs":
            mini.write(table, ",".join(names) + "\n")


def test_missing_table_of_a_finished_season_is_asked_for(mini):
    (mini.site / "harvest.csv").unlink()
    assert told(mini.read()) == [("missing_file", "harvest.csv", "question")]


def test_missing_table_that_no_measure_needs_is_not_missed(mini):
    (mini.site / "ratings.csv").unlink()
    assert told(mini.read()) == []


def test_missing_layout_blocks_the_site_season(mini):
    (mini.site / "plots.csv").unlink()
    read = mini.read()
    assert told(read) == [("missing_file", "plots.csv", "error")]
    assert read.unusable == "there is no plots table"


def test_layout_without_rows_blocks_the_site_season(mini):
    mini.write("plots", PLOTS.splitlines()[0] + "\n")
    read = mini.read()
    assert ("nothing_typed", "plots.csv", "error") in told(read)
    assert not read.usable
    assert not read.nothing_typed


def test_layout_of_which_every_row_is_wrong_blocks_the_site_season(mini):
    mini.write("plots", PLOTS.replace(",netting,", ",other,").replace(",check,", ",nothing,"))
    read = mini.read()
    assert read.unusable == "every row of the plots table has an error"
    assert len(read.errors) == 4


def test_empty_sheets_say_what_to_type_and_are_no_error(mini):
    blank(mini)
    read = mini.read()
    assert read.nothing_typed
    assert read.errors == ()
    plots = next(fault for fault in read.faults if fault.file.endswith("plots.csv"))
    assert plots.severity == "question"
    assert "plot, block, treatment" in plots.remedy


def test_fresh_study_has_no_errors_without_any_data_folder(mini):
    shutil.rmtree(mini.folder / "data")
    (mini.folder / "costs.csv").unlink()
    intake = check_study(mini.study())
    assert intake.errors == ()
    assert {fault.code for fault in intake.faults} == {"nothing_typed"}
    assert len(intake.faults) == 4


def test_folder_missing_in_a_running_season_of_which_others_have_data_is_an_error(mini):
    shutil.copytree(mini.site, mini.folder / "data" / "2027" / "north")
    intake = check_study(mini.study())
    assert [f.code for f in intake.site_season(2027, "south").faults] == ["missing_folder"]


def test_unbalanced_layout_is_noted(mini):
    mini.change("plots", "202,2,check", "202,2,netting")
    (fault,) = (f for f in mini.read().faults if f.code == "unbalanced_layout")
    assert fault.severity == "note"
    assert "block 2 has check 0 times; block 2 has netting 2 times" in fault.what


def test_layout_without_the_check_is_asked_about(mini):
    mini.write("plots", PLOTS.replace(",check,", ",netting,"))
    (fault,) = (f for f in mini.read().faults if f.code == "treatment_absent")
    assert fault.severity == "question"


def test_standing_plot_that_was_never_picked_is_asked_about(mini):
    mini.write("harvest", HARVEST.replace("2026-08-01,202,marketable,,0,0\n", ""))
    assert told(mini.read()) == [("plot_without_rows", "harvest.csv", "question")]


def test_lost_plot_need_not_have_rows(mini):
    mini.change("plots", "202,2,check,2,2,8,6,", "202,2,check,2,2,0,6,flooded")
    mini.write("harvest", HARVEST.replace("2026-08-01,202,marketable,,0,0\n", ""))
    read = mini.read()
    assert ("plot_without_rows", "harvest.csv", "question") not in told(read)
    assert read.tables["plots"].loc[5, "lost"] == "flooded"


def test_lost_plot_with_later_rows_is_noted_with_its_date(mini):
    mini.declare(
        'title = "A made',
        'events = ["transplanted", "cover_on", "cover_off", "flooded"]\ntitle = "A made',
    )
    mini.change("plots", "202,2,check,2,2,8,6,", "202,2,check,2,2,8,6,flooded")
    mini.change("events", "2026-07-01,", "2026-06-30,202,flooded,\n2026-07-01,")
    notes = [f for f in mini.read().faults if f.code == "lost_plot_with_data"]
    assert [f.file.rsplit("/", 1)[-1] for f in notes] == ["harvest.csv"]
    assert "lost on 2026-06-30 (flooded)" in notes[0].what


def test_rows_of_a_plot_that_the_layout_blocks_are_left_out_and_told_once_each(mini):
    mini.change("plots", "102,1,netting", "102,1,nett")
    read = mini.read()
    assert set(read.tables["scouting"]["plot"]) == {"101", "201", "202"}
    blocked = read.left_out[read.left_out["code"] == "plot_blocked"]
    assert set(blocked["plot"]) == {"102"}
    assert [f.code for f in read.errors] == ["unknown_treatment"]
    notes = [f for f in read.faults if f.code == "plot_blocked"]
    assert [f.file.rsplit("/", 1)[-1] for f in notes] == [
        "scouting.csv",
        "ratings.csv",
        "harvest.csv",
        "events.csv",
    ]
    assert notes[0].what == "plot '102' has an error in the layout (2 rows, this is the first)"


def test_misspelt_file_name_is_asked_about(mini):
    (mini.site / "scouting.csv").rename(mini.site / "scoutting.csv")
    found = told(mini.read())
    assert ("unknown_file", "scoutting.csv", "question") in found
    assert ("missing_file", "scouting.csv", "question") in found


def test_other_files_are_told_apart(mini):
    (mini.site / "photo.jpg").write_bytes(b"")
    (mini.site / "diary.csv").write_text("a,b\n")
    (mini.site / "field.xls").write_bytes(b"")
    assert told(mini.read()) == [
        ("unknown_file", "diary.csv", "note"),
        ("unknown_file", "field.xls", "error"),
    ]
