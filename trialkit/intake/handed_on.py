"""What the report of a site-season hands on to those on the whole study.

Written and read here in full precision, so that the answer across is the same to the last bit
whether it starts from the field files or from finished reports.
"""

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from trialkit.columns import DEVIATIONS, EFFECTS, MOVED, PLOT_VALUES
from trialkit.intake.background import (
    AS_TYPED,
    BACKGROUND,
    Background,
    read_background,
    write_background,
)
from trialkit.intake.files import FileRecord

FINDINGS: Final = "findings.csv"
VALUES: Final = "plot_values.csv"
DEPARTURES: Final = "departures.csv"
CORRECTED: Final = "moved_by_corrections.csv"
_NUMBERS: Final = (
    *("value", "events", "trials", "exposure"),
    *("estimate", "se", "df", "low", "high", "p", "p_adjusted", "ratio", "ratio_low", "ratio_high"),
    *("effect", "effect_low", "effect_high", "margin", "hedges_g", "g_low", "g_high"),
    *("as_typed_effect", "as_typed_low", "as_typed_high", "days"),
)
_COLUMNS: Final = {
    VALUES: PLOT_VALUES,
    FINDINGS: EFFECTS,
    DEPARTURES: DEVIATIONS,
    CORRECTED: MOVED,
}


@dataclass(frozen=True)
class HandedOn:
    """Tables of one site-season, their columns as in trialkit.columns.

    values : PLOT_VALUES; effects : EFFECTS; departures : DEVIATIONS from the protocol; moved :
    MOVED, the contrasts that corrections moved. ``as_typed`` are the plot values without
    corrections where these changed any, and ``background`` is what else is known of the place.
    """

    season: int
    site: str
    values: pd.DataFrame
    effects: pd.DataFrame
    departures: pd.DataFrame
    moved: pd.DataFrame
    files: tuple[FileRecord, ...] = ()
    background: Background = field(default_factory=Background)
    as_typed: pd.DataFrame | None = None

    @property
    def place(self) -> tuple[int, str]:
        """Season and site."""
        return self.season, self.site


def write_handed_on(folder: Path, tables: HandedOn) -> None:
    """Write the tables into a folder that exists."""
    write_effects(folder, tables.effects)
    named = {VALUES: tables.values, DEPARTURES: tables.departures, CORRECTED: tables.moved}
    for name, frame in named.items():
        frame.to_csv(folder / name, index=False, lineterminator="\n")
    write_background(folder, tables.background, tables.as_typed)


def write_effects(folder: Path, effects: pd.DataFrame) -> None:
    """Write findings.csv into a folder that exists."""
    effects.to_csv(folder / FINDINGS, index=False, lineterminator="\n")


def read_handed_on(reports: Path, season: int, site: str) -> HandedOn | None:
    """Read what the finished report of a site-season left, or None where there is none."""
    folder = reports / str(season) / site
    if not all((folder / name).is_file() for name in (*_COLUMNS, BACKGROUND)):
        return None
    read = [_read(folder / name, columns, reports) for name, columns in _COLUMNS.items()]
    values, effects, departures, moved = (frame for frame, _ in read)
    background, told = read_background(folder, reports)
    files = (*(file for _, file in read), told)
    typed = None
    if background.uncorrected == "other values":
        typed, file = _read(folder / AS_TYPED, PLOT_VALUES, reports)
        files = (*files, file)
    return HandedOn(season, site, values, effects, departures, moved, files, background, typed)


def _read(path: Path, columns: Sequence[str], reports: Path) -> tuple[pd.DataFrame, FileRecord]:
    numbers = {name: "float64" for name in columns if name in _NUMBERS}
    texts = {name: "str" for name in columns if name not in _NUMBERS and name != "season"}
    frame = pd.read_csv(
        path,
        dtype={"season": "int64", **texts, **numbers},
        keep_default_na=False,
        na_values={name: [""] for name in numbers},
    )
    checksum = hashlib.sha256(path.read_bytes()).hexdigest()
    return frame, FileRecord(path.relative_to(reports).as_posix(), checksum, len(frame))
