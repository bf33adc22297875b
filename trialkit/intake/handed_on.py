"""What the report of a site-season hands on to those on the whole study.

Written and read here in full precision, so that the answer across is the same to the last bit
whether it starts from the field files or from finished reports.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pandas as pd

from trialkit.columns import DEVIATIONS, EFFECTS, MOVED, PLOT_VALUES
from trialkit.intake.alike import ReadTable, read_alike
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
    return next(iter(read_all_handed_on(reports, [(season, site)])), None)


def read_all_handed_on(reports: Path, places: Iterable[tuple[int, str]]) -> tuple[HandedOn, ...]:
    """Read what the finished reports of site-seasons left; those without one are not among them."""
    left = [place for place in places if _has_all(_folder(reports, place))]
    tables = {
        name: read_alike([_folder(reports, place) / name for place in left], columns, _NUMBERS)
        for name, columns in _COLUMNS.items()
    }
    each = zip(*tables.values(), strict=True)
    return tuple(_handed_on(reports, place, read) for place, read in zip(left, each, strict=True))


def _folder(reports: Path, place: tuple[int, str]) -> Path:
    season, site = place
    return reports / str(season) / site


def _has_all(folder: Path) -> bool:
    return all((folder / name).is_file() for name in (*_COLUMNS, BACKGROUND))


def _handed_on(reports: Path, place: tuple[int, str], read: tuple[ReadTable, ...]) -> HandedOn:
    values, effects, departures, moved = (one.frame for one in read)
    folder = _folder(reports, place)
    background, told = read_background(folder, reports)
    files = (*(_record(one, reports) for one in read), told)
    typed = None
    if background.uncorrected == "other values":
        table = read_alike([folder / AS_TYPED], PLOT_VALUES, _NUMBERS)[0]
        typed, files = table.frame, (*files, _record(table, reports))
    return HandedOn(*place, values, effects, departures, moved, files, background, typed)


def _record(one: ReadTable, reports: Path) -> FileRecord:
    return FileRecord(one.path.relative_to(reports).as_posix(), one.checksum, len(one.frame))
