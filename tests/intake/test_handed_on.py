"""What one report hands on to another comes back to the last bit."""

from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.columns import DEVIATIONS, EFFECTS, MOVED, PLOT_VALUES
from trialkit.intake import (
    HandedOn,
    read_all_handed_on,
    read_handed_on,
    write_effects,
    write_handed_on,
)

TEXTS = {"site", "plot", "block", "treatment", "measure", "left_out", "versus", "effect_unit",
         "verdict", "direction", "bound", "rule", "planned", "happened", "as_typed_bound",
         "as_typed_verdict", "as_typed_direction"}  # fmt: skip
FIELDS = {"values": PLOT_VALUES, "effects": EFFECTS, "departures": DEVIATIONS, "moved": MOVED}


def table(columns, rows: int = 40) -> pd.DataFrame:
    random = np.random.default_rng(3)
    made = {}
    for name in columns:
        numbers = random.normal(size=rows) * 10.0 ** random.integers(-9, 9, rows)
        numbers[:3] = [np.nan, np.inf, -np.inf]
        texts = pd.Series(["", "NA", "007", 'a, "b"', "é\nf"] * (rows // 5), dtype="str")
        made[name] = texts if name in TEXTS else 2024 if name == "season" else numbers
    return pd.DataFrame(made)


def test_values_and_effects_come_back_as_they_were(tmp_path: Path) -> None:
    folder = tmp_path / "2024" / "here"
    folder.mkdir(parents=True)
    frames = {name: table(columns) for name, columns in FIELDS.items()}
    write_handed_on(folder, HandedOn(2024, "here", **frames))
    back = read_handed_on(tmp_path, 2024, "here")
    for name, frame in frames.items():
        pd.testing.assert_frame_equal(getattr(back, name), frame, check_exact=True)
    assert [record.path.rpartition("/")[2] for record in back.files] == [
        "plot_values.csv", "findings.csv", "departures.csv", "moved_by_corrections.csv",
        "background.json",
    ]  # fmt: skip


def test_a_table_without_rows_comes_back_with_its_columns(tmp_path: Path) -> None:
    folder = tmp_path / "2024" / "here"
    folder.mkdir(parents=True)
    frames = {name: pd.DataFrame(columns=list(columns)) for name, columns in FIELDS.items()}
    write_handed_on(folder, HandedOn(2024, "here", **frames))
    back = read_handed_on(tmp_path, 2024, "here")
    assert (len(back.moved), tuple(back.moved.columns)) == (0, MOVED)


def test_a_report_that_is_not_there_hands_on_nothing(tmp_path: Path) -> None:
    assert read_handed_on(tmp_path, 2024, "here") is None
    (tmp_path / "2024" / "here").mkdir(parents=True)
    write_effects(tmp_path / "2024" / "here", table(EFFECTS))
    assert read_handed_on(tmp_path, 2024, "here") is None


def test_places_read_together_are_those_read_one_by_one(tmp_path: Path) -> None:
    places = [(2024, "here"), (2024, "missing"), (2024, "there"), (2025, "here")]
    for rows, (season, site) in zip((40, 0, 0, 15), places, strict=True):
        if site != "missing":
            hand_on(tmp_path, season, site, rows)
    together = read_all_handed_on(tmp_path, places)
    assert [one.place for one in together] == [(2024, "here"), (2024, "there"), (2025, "here")]
    for one in together:
        alone = read_handed_on(tmp_path, *one.place)
        for name in FIELDS:
            pd.testing.assert_frame_equal(getattr(one, name), getattr(alone, name))
        assert one.files == alone.files


def test_columns_in_another_order_are_read_by_their_names(tmp_path: Path) -> None:
    hand_on(tmp_path, 2024, "here", 40)
    hand_on(tmp_path, 2024, "there", 40)
    path = tmp_path / "2024" / "there" / "findings.csv"
    table(EFFECTS)[list(reversed(EFFECTS))].to_csv(path, index=False)
    found = read_all_handed_on(tmp_path, [(2024, "here"), (2024, "there")])[1]
    pd.testing.assert_frame_equal(found.effects[list(EFFECTS)], table(EFFECTS), check_exact=True)


def hand_on(reports: Path, season: int, site: str, rows: int) -> None:
    folder = reports / str(season) / site
    folder.mkdir(parents=True)
    frames = {name: table(columns, 40).iloc[:rows] for name, columns in FIELDS.items()}
    write_handed_on(folder, HandedOn(season, site, **frames))
