"""The whole study at once, and its costs."""

import shutil

import pytest

from trialkit.intake import check_study, read_costs
from trialkit.study import Economics


def test_every_planned_site_season_is_read_in_order(mini):
    intake = check_study(mini.study())
    assert [(one.season, one.site) for one in intake.site_seasons] == [
        (2026, "north"),
        (2026, "south"),
        (2027, "north"),
        (2027, "south"),
    ]
    assert intake.site_season(2026, "north").usable


def test_faults_files_and_rows_left_out_are_those_of_all_parts(mini):
    shutil.copytree(mini.site, mini.folder / "data" / "2026" / "south")
    mini.change("scouting", "adult,4", "adult,-4")
    (mini.folder / "costs.csv").write_text("treatment,item,quantity,unit,price\nnett,a,1,m,2\n")
    intake = check_study(mini.study())
    assert [fault.code for fault in intake.errors] == ["negative", "unknown_treatment"]
    assert len(intake.files) == 15
    assert intake.left_out[["season", "site", "row"]].to_numpy().tolist() == [[2026, "north", 2]]


def test_processes_and_dropped_tables_change_no_fault(mini, monkeypatch):
    monkeypatch.setattr("trialkit.intake.study_intake._WORTH_PROCESSES", 1)
    mini.change("scouting", "adult,4", "adult,-4")
    alone = check_study(mini.study())
    together = check_study(mini.study(), workers=2, tables=False)
    assert together.faults == alone.faults
    assert together.files == alone.files
    assert together.left_out.equals(alone.left_out)
    assert all(not len(table) for one in together.site_seasons for table in one.tables.values())


def test_folder_of_an_unplanned_site_or_season_is_asked_about(mini):
    (mini.folder / "data" / "2026" / "west").mkdir()
    (mini.folder / "data" / "2019").mkdir()
    faults = check_study(mini.study()).faults_of_folders
    assert [fault.file.rsplit("/", 2)[-2:] for fault in faults] == [
        ["data", "2019"],
        ["2026", "west"],
    ]


def test_costs_are_read_with_their_types(mini):
    costs = read_costs(mini.study())
    assert costs.faults == ()
    assert costs.table["price"].tolist() == [0.8, 18]
    assert costs.table["lasts_seasons"].isna().tolist() == [False, True]


def test_a_price_in_another_currency_is_found_by_checking_and_keeps_nothing_out(mini):
    study = mini.study()
    prices = Economics(prices={"marketable": "0.9 EUR"}, measure=study.measures[0].id)
    intake = check_study(study.model_copy(update={"economics": prices}))
    assert "is in EUR" in " ".join(fault.what for fault in intake.errors)
    assert intake.site_season(2026, "north").usable


def test_study_without_costs_has_none_and_no_fault(mini):
    (mini.folder / "costs.csv").unlink()
    costs = read_costs(mini.study())
    assert (len(costs.table), costs.faults) == (0, ())


@pytest.mark.parametrize(
    ("row", "column", "code"),
    [
        ("netting,mesh,10,m2,-1,2", "price", "negative"),
        ("netting,mesh,10,m2,,2", "price", "value_missing"),
        ("netting,mesh,10,m2,0.45 EUR,2", "price", "currency"),
        ("netting,mesh,10,m2,€0.45,2", "price", "currency"),
        ("netting,mesh,10,m2,1,0", "lasts_seasons", "not_positive"),
    ],
)
def test_a_cost_that_cannot_be_used_is_named_by_cell_and_treatment(mini, row, column, code):
    head = "treatment,item,quantity,unit,price,lasts_seasons"
    (mini.folder / "costs.csv").write_text(f"{head}\n{row}\nnetting,hoops,1,m,1,1\n")
    costs = read_costs(mini.study())
    assert [(f.row, f.column, f.code) for f in costs.faults] == [(2, column, code)]
    assert costs.incomplete == ("netting",)
