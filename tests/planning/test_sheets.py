"""Field sheets: valid entries only, and what is typed comes back through intake unchanged."""

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from trialkit.intake import read_site_season
from trialkit.planning.randomise import randomise
from trialkit.planning.sheets import (
    FieldSheet,
    events_sheet,
    harvest_sheet,
    plots_sheet,
    ratings_sheet,
    scouting_sheet,
    write_workbook,
)
from trialkit.study import Study

DAY = dt.date(2026, 6, 2)
SITE = "alder_bench"
SOFFICE = shutil.which("soffice")


def workbook(study: Study, folder: Path, name: str = "field.xlsx", **paper) -> Path:
    plots = randomise(study, 2026, SITE).plots
    makers = (scouting_sheet, ratings_sheet, harvest_sheet)
    sheets = [plots_sheet(plots), *(make(study, plots, DAY) for make in makers)]
    folder.mkdir(parents=True, exist_ok=True)
    return write_workbook(study, sheets, folder / name, "Alder Bench & more, 2026-06-02", **paper)


def typed_in(path: Path) -> pd.DataFrame:
    """Fill in every count as a person would: a number in each cell, here row number modulo 7."""
    book = openpyxl.load_workbook(path)
    page = book["scouting"]
    column = [cell.value for cell in page[1]].index("count") + 1
    for row in range(2, page.max_row + 1):
        page.cell(row, column).value = row % 7
    harvest = book["harvest"]
    for row in range(2, harvest.max_row + 1):
        harvest.cell(row, 5).value, harvest.cell(row, 6).value = row % 4, 1.25 * (row % 4)
    book.save(path)
    rows = list(book["scouting"].values)
    return pd.DataFrame(rows[1:], columns=rows[0])


def assert_comes_back(study: Study, typed: pd.DataFrame) -> None:
    read = read_site_season(study, 2026, SITE)
    assert not read.errors
    scouting, harvest = read.tables["scouting"], read.tables["harvest"]
    assert scouting["count"].tolist() == typed["count"].tolist()
    assert scouting["plot"].astype(str).tolist() == typed["plot"].astype(str).tolist()
    assert scouting["plant"].tolist() == typed["plant"].astype(str).tolist()
    assert (pd.to_datetime(scouting["date"]).dt.date == DAY).all()
    assert harvest["fruit"].tolist() == [row % 4 for row in range(2, len(harvest) + 2)]
    pounds = [1.25 * (row % 4) for row in range(2, len(harvest) + 2)]
    assert harvest["weight"].tolist() == pytest.approx([0.45359237 * lb for lb in pounds])


def test_what_is_typed_comes_back_through_intake(planned):
    study = planned()
    path = workbook(study, study.data_folder(2026, SITE))
    assert_comes_back(study, typed_in(path))


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is not installed")
def test_what_is_typed_survives_libreoffice(planned, tmp_path):
    study = planned()
    path = workbook(study, tmp_path / "sent")
    typed = typed_in(path)
    target = study.data_folder(2026, SITE)
    command = [SOFFICE, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile"]
    command += ["--convert-to", "xlsx", "--outdir", str(target), str(path)]
    subprocess.run(command, check=True, capture_output=True, timeout=180)
    assert_comes_back(study, typed)
    saved = openpyxl.load_workbook(target / "field.xlsx")["scouting"]
    assert set(rules(saved)) == {"date", "plot", "organism", "stage", "count"}


def test_a_scouting_sheet_has_one_row_a_plant_in_walking_order(planned):
    study = planned("plants_scouted = 3")
    plots = randomise(study, 2026, SITE).plots
    rows = scouting_sheet(study, plots, DAY).rows
    assert len(rows) == 20 * 3
    assert rows["plot"].unique()[:7].tolist() == ["101", "102", "103", "104", "105", "205", "204"]


def test_lost_plots_are_not_on_the_sheet(planned):
    study = planned()
    plots = randomise(study, 2026, SITE).plots
    plots.loc[plots["plot"] == "203", "lost"] = "flooded"
    assert "203" not in set(scouting_sheet(study, plots, DAY).rows["plot"])


def test_a_harvest_sheet_has_a_row_for_every_grade(planned):
    study = planned()
    rows = harvest_sheet(study, randomise(study, 2026, SITE).plots, DAY).rows
    one = rows[rows["plot"] == "101"]
    assert one["grade"].tolist() == ["marketable", "cull", "cull", "cull", "cull"]
    assert one["cull_cause"].tolist()[1:] == [cause.id for cause in study.cull_causes]


def rules(page) -> dict[str, object]:
    heads = {cell.column_letter: cell.value for cell in page[1]}
    return {heads[str(r.sqref)[0]]: r for r in page.data_validations.dataValidation}


def test_only_valid_entries_are_accepted(planned, tmp_path):
    book = openpyxl.load_workbook(workbook(planned(), tmp_path / "out"))
    scouting, harvest = rules(book["scouting"]), rules(book["harvest"])
    assert (scouting["count"].type, scouting["count"].operator) == ("whole", "greaterThanOrEqual")
    assert scouting["count"].formula1 == "0"
    assert "flea_beetle" in scouting["organism"].formula1
    assert harvest["grade"].formula1 == '"marketable,cull"'
    assert "sunscald" in harvest["cull_cause"].formula1
    assert harvest["weight"].type == "decimal"
    score = rules(book["ratings"])["score"]
    assert (score.formula1, score.formula2) == ("0", "100")
    every = [*scouting.values(), *harvest.values(), score]
    assert all(rule.errorStyle in (None, "stop") and rule.showErrorMessage for rule in every)


@pytest.mark.parametrize(("paper", "code"), [("letter", 1), ("a4", 9)])
def test_sheets_print_on_either_paper_with_the_header_on_every_page(planned, tmp_path, paper, code):
    book = openpyxl.load_workbook(workbook(planned(), tmp_path / "out", paper=paper))
    page = book["scouting"]
    assert page.page_setup.paperSize == code
    assert page.sheet_properties.pageSetUpPr.fitToPage
    assert page.page_setup.fitToHeight == 0  # as many pages long as needed, one page wide
    assert page.print_title_rows == "$1:$1"
    assert page.freeze_panes == "C2"
    assert page.row_dimensions[5].height >= 20  # room for a pencil
    assert "Weight in lb" in book["harvest"].oddFooter.right.text


def test_events_seen_on_a_visit_have_blank_rows_with_drop_downs(planned, tmp_path):
    study = planned()
    plots = randomise(study, 2026, SITE).plots
    path = write_workbook(study, [events_sheet(study, plots)], tmp_path / "e.xlsx", "Events")
    page = openpyxl.load_workbook(path)["events"]
    assert [cell.value for cell in page[1]] == ["date", "plot", "event", "note"]
    assert {cell.value for row in page.iter_rows(min_row=2) for cell in row} == {None}
    found = rules(page)
    assert "first_bloom" in found["event"].formula1
    assert found["plot"].formula1.startswith('"101,102,103')
    assert (found["date"].type, found["date"].operator) == ("date", None)  # between, the default


def test_a_heavier_line_stands_above_every_plot(planned, tmp_path):
    page = openpyxl.load_workbook(workbook(planned(), tmp_path / "out"))["scouting"]
    plots = [page.cell(row, 2).value for row in range(2, page.max_row + 1)]
    heavy = [page.cell(row, 4).border.top.style == "medium" for row in range(2, page.max_row + 1)]
    assert heavy == [a != b for a, b in zip(plots, [None, *plots[:-1]], strict=True)]


def test_the_same_sheets_have_the_same_bytes(planned, tmp_path):
    study = planned()
    one, two = (workbook(study, tmp_path / name) for name in "ab")
    assert one.read_bytes() == two.read_bytes()


def test_labels_are_written_as_text_whatever_they_begin_with(planned, tmp_path):
    labels = ["=1+1", "+1", "-1", "@x", "007", "https://example.org"]
    rows = FieldSheet("scouting", pd.DataFrame({"plot": labels}))
    path = write_workbook(planned(), [rows], tmp_path / "sheets.xlsx", "Sheets")
    column = openpyxl.load_workbook(path)["scouting"]["A"][1:]
    assert [(cell.value, cell.data_type) for cell in column] == [(text, "s") for text in labels]
