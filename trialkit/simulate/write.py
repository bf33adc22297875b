"""The files of an invented study: the same bytes at every run."""

from pathlib import Path

import pandas as pd

from trialkit.simulate.mistakes import corrections, with_mistakes
from trialkit.simulate.sheets import Tables, simulate_site_season
from trialkit.simulate.truth import read_truth
from trialkit.study import read_study


def write_study(folder: str | Path) -> None:
    """Write data/SEASON/SITE/, costs.csv and corrections.csv of the study that stands there."""
    study, truth = read_study(folder), read_truth(folder)
    drawn = {place: simulate_site_season(study, *place, truth) for place in study.site_seasons()}
    truth.costs.to_csv(study.folder / "costs.csv", index=False, lineterminator="\n")
    if truth.mistakes:
        mended = corrections(truth, drawn)
        mended.to_csv(study.folder / "corrections.csv", index=False, lineterminator="\n")
    for place, tables in drawn.items():
        own = [one for one in truth.mistakes if (one.season, one.site) == place]
        study.data_folder(*place).mkdir(parents=True, exist_ok=True)
        write = _write_workbook if truth.places[place].workbook else _write_csv
        write(study.data_folder(*place), with_mistakes(tables, own))


def _write_csv(folder: Path, tables: Tables) -> None:
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")


def _write_workbook(folder: Path, tables: Tables) -> None:
    path = folder / f"{folder.name}_{folder.parent.name}.xlsx"
    with pd.ExcelWriter(path, engine="xlsxwriter") as book:
        book.book.set_properties({"created": pd.Timestamp(2024, 1, 1)})  # same bytes at every run
        for name, table in tables.items():
            if "date" in table:
                table = table.assign(date=pd.to_datetime(table["date"]).dt.date)
            table.to_excel(book, sheet_name=name, index=False)
