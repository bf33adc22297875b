"""Plan, type into the visits' workbooks, check: the tidy rows are the ones that were typed."""

import datetime as dt
import shutil
import subprocess
from pathlib import Path

import openpyxl
import pandas as pd
import pytest

from trialkit.intake import read_site_season
from trialkit.planning import Stamp, make_plan, write_plan
from trialkit.study import Study

STAMP = Stamp(dt.date(2026, 5, 1), "9.9")
PLACE = (2026, "alder_bench")
SOFFICE = shutil.which("soffice")
LAYOUT = """
scouting_days = [12, 5, 19]
picking_days = [62, 69]
plants_scouted = 2
reach = { blocks = 2, sites = 1, seasons = 1 }
[[layout.plantings]]
season = 2026
site = "alder_bench"
date = 2026-05-26
[[layout.assumptions]]
measure = "flea_beetle_days"
difference = 90
"""
TEXTS = {"plot": "str", "plant": "str"}
KEYS = {
    "scouting": ["date", "plot", "plant", "organism", "count"],
    "harvest": ["date", "plot", "grade", "cull_cause", "fruit", "weight"],
    "ratings": ["date", "plot", "what", "score"],
    "events": ["date", "plot", "event", "note"],
}


@pytest.fixture
def sent(planned, tmp_path) -> tuple[Study, list[Path]]:
    """A planned study and the workbooks of its visits."""
    study = planned(LAYOUT)
    made = make_plan(study, places=[PLACE])
    files = write_plan(study, made, tmp_path / "plan", STAMP)
    return study, [path for path in files if path.suffix == ".xlsx"]


def type_into(path: Path, formulas: bool = False, plot: int = 203) -> None:
    """Fill every cell that is to be filled with a number of its own; see one plot bloom."""
    book = openpyxl.load_workbook(path)
    day = int(path.stem[-2:])
    for name, columns in {"scouting": ["count"], "ratings": ["score"]}.items():
        _fill(book, name, columns, lambda row: (row * day) % 9, formulas)
    _fill(book, "harvest", ["fruit"], lambda row: (row * day) % 4, formulas)
    _fill(book, "harvest", ["weight"], lambda row: 1.25 * ((row * day) % 4), formulas)
    for column, value in enumerate([dt.date(2026, 7, day), plot, "first_bloom", "typed"], 1):
        book["events"].cell(2, column).value = value
    book.save(path)


def _fill(book, sheet, columns, value, formulas) -> None:
    page = book[sheet] if sheet in book.sheetnames else None
    for name in columns if page else ():
        column = [cell.value for cell in page[1]].index(name) + 1
        for row in range(2, page.max_row + 1):
            page.cell(row, column).value = f"={value(row)}+0" if formulas else value(row)


def typed_rows(paths: list[Path], table: str) -> pd.DataFrame:
    """What the workbooks say, read by pandas alone."""
    frames = []
    for path in paths:
        pages = pd.read_excel(path, sheet_name=None, dtype=TEXTS, engine="openpyxl")
        frames += [pages[table].dropna(how="all")] if table in pages else []
    return _ordered(pd.concat(frames), table)


def _ordered(frame: pd.DataFrame, table: str) -> pd.DataFrame:
    kept = frame[KEYS[table]].assign(date=pd.to_datetime(frame["date"]).astype("datetime64[ns]"))
    plain = kept.astype({name: "str" for name in kept if kept[name].dtype == object})
    return plain.sort_values(KEYS[table][:4]).reset_index(drop=True)


def assert_comes_back(study: Study, paths: list[Path]) -> None:
    read = read_site_season(study, *PLACE)
    assert [str(fault) for fault in read.errors] == []
    for table in KEYS:
        found, typed = _ordered(read.tables[table], table), typed_rows(paths, table)
        if table == "harvest":
            typed["weight"] *= 0.45359237  # pounds, NIST SP 811
        pd.testing.assert_frame_equal(found, typed, check_dtype=False)
    assert read.tables["scouting"]["date"].nunique() == 3
    assert read.tables["harvest"]["date"].nunique() == 2


def test_every_visit_typed_and_laid_into_the_folder_comes_back(sent):
    study, paths = sent
    for path in paths:
        type_into(path)
        shutil.copy(path, study.data_folder(*PLACE))
    assert len(paths) == 5
    assert_comes_back(study, paths)


def test_the_order_of_the_files_changes_no_row(sent):
    study, paths = sent
    folder = study.data_folder(*PLACE)
    for path, number in zip(paths, range(28, 0, -1), strict=False):
        type_into(path)
        table = path.stem.split("_")[0]
        shutil.copy(path, folder / f"{table}_2026-09-{number:02d}.xlsx")
    assert_comes_back(study, paths)


def test_a_visit_laid_in_twice_names_both_files(sent):
    study, paths = sent
    folder = study.data_folder(*PLACE)
    type_into(paths[0])
    shutil.copy(paths[0], folder)
    shutil.copy(paths[0], folder / f"{paths[0].stem} (2).xlsx")
    errors = read_site_season(study, *PLACE).errors
    assert {fault.code for fault in errors} == {"duplicate_row"}
    named = {(Path(fault.file).name.split("#")[0], paths[0].stem in fault.what) for fault in errors}
    assert len({file for file, _ in named}) == 1
    assert all(other for _, other in named)


def test_workbooks_that_nobody_filled_in_hold_no_error_and_no_count(sent):
    study, paths = sent
    for path in paths:
        shutil.copy(path, study.data_folder(*PLACE))
    read = read_site_season(study, *PLACE)
    assert read.errors == ()
    assert read.tables["scouting"].empty
    assert read.tables["harvest"].empty


def test_a_plan_made_again_keeps_the_plots_and_moves_with_what_was_typed(sent, tmp_path):
    from trialkit.report.plan_known import known_so_far

    study, paths = sent
    plots = pd.read_csv(study.data_folder(*PLACE) / "plots.csv")
    under_netting = int(plots.loc[plots["treatment"] == "netting", "plot"].iloc[0])
    for path in paths[:2]:
        type_into(path, plot=under_netting)
        shutil.copy(path, study.data_folder(*PLACE))
    again = make_plan(study, known_so_far(study), places=[PLACE]).place(*PLACE)
    assert again.drawn is None
    assert any("first bloom seen on 2026-07" in task.why for task in again.tasks)


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is not installed")
@pytest.mark.parametrize("kind", ["xlsx", "ods"])
def test_what_libreoffice_calculated_and_saved_comes_back(sent, tmp_path, kind):
    study, paths = sent
    for path in paths:
        type_into(path, formulas=True)
    target = study.data_folder(*PLACE)
    command = [SOFFICE, "--headless", f"-env:UserInstallation=file://{tmp_path}/profile"]
    command += ["--convert-to", kind, "--outdir", str(target), *map(str, paths)]
    subprocess.run(command, check=True, capture_output=True, timeout=240)
    plain = [shutil.copy(path, tmp_path / path.name) for path in paths]
    for path in plain:
        type_into(path)
    assert_comes_back(study, plain)
