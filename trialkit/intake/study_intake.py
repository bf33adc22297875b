"""Everything of a study at once: every site-season and the costs."""

from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from multiprocessing import get_context
from pathlib import PurePosixPath
from typing import Final

import pandas as pd

from trialkit.columns import TABLES
from trialkit.errors import Fault
from trialkit.intake.answers import no_such_file, with_questions
from trialkit.intake.corrections import Corrections, read_corrections
from trialkit.intake.costs import COSTS_FILE, Costs, read_costs
from trialkit.intake.files import FileRecord
from trialkit.intake.problems import empty_left_out
from trialkit.intake.read import read_site_season
from trialkit.intake.schemas import blank_table_frame
from trialkit.intake.site_season import SiteSeason
from trialkit.intake.suspicion.sites import site_faults
from trialkit.study import Study, economics_faults

# Starting a process costs as much as reading some dozens of site-seasons.
_WORTH_PROCESSES: Final = 60
_CHUNK: Final = 10


@dataclass(frozen=True)
class StudyIntake:
    """All that was read of a study, in the order of study.toml."""

    site_seasons: tuple[SiteSeason, ...]
    costs: Costs
    faults_of_folders: tuple[Fault, ...] = ()
    faults_of_prices: tuple[Fault, ...] = ()

    @property
    def faults(self) -> tuple[Fault, ...]:
        """Every fault of every file."""
        of_sites = (fault for one in self.site_seasons for fault in one.faults)
        every = (*self.faults_of_folders, *of_sites, *self.costs.faults, *self.faults_of_prices)
        return tuple(dict.fromkeys(every))

    @property
    def errors(self) -> tuple[Fault, ...]:
        """Faults that keep something out of the analysis."""
        return tuple(fault for fault in self.faults if fault.severity == "error")

    @property
    def files(self) -> tuple[FileRecord, ...]:
        """Every file that was read."""
        return (*(file for one in self.site_seasons for file in one.files), *self.costs.files)

    @property
    def left_out(self) -> pd.DataFrame:
        """Every row that dropped out, with season and site before the columns of a site-season."""
        parts = [
            one.left_out.assign(season=one.season, site=one.site)
            for one in self.site_seasons
            if len(one.left_out)
        ]
        columns = ["season", "site", *empty_left_out().columns]
        joined = pd.concat(parts, ignore_index=True) if parts else empty_left_out()
        return joined.reindex(columns=columns)

    def site_season(self, season: int, site: str) -> SiteSeason:
        """Return one site-season."""
        return next(o for o in self.site_seasons if (o.season, o.site) == (season, site))


def check_study(study: Study, *, workers: int = 1, tables: bool = True) -> StudyIntake:
    """Read every site-season that study.toml plans, and the costs.

    With ``workers`` > 1 large studies are read by so many processes. ``tables=False`` hands back
    faults, files and rows left out with tables without rows, so that a study of any size fits into
    memory.
    """
    places, corrections = study.site_seasons(), read_corrections(study)
    read = partial(_read, study, corrections, tables)
    if workers > 1 and len(places) >= _WORTH_PROCESSES:
        with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
            found = tuple(pool.map(read, places, chunksize=_CHUNK))
    else:
        found = tuple(map(read, places))
    if not tables:
        blank = {table: blank_table_frame(table) for table in TABLES}
        found = tuple(replace(one, tables=blank) for one in found)
    return StudyIntake(
        _beside_each_other(study, corrections, found),
        read_costs(study),
        (*_unplanned_folders(study), *_stray_corrections(study, corrections)),
        economics_faults(study),
    )


def _beside_each_other(
    study: Study, corrections: Corrections, site_seasons: tuple[SiteSeason, ...]
) -> tuple[SiteSeason, ...]:
    """Site-seasons with the questions that only all sites of a season together raise."""
    levels = {(one.season, one.site): one.check_levels for one in site_seasons}
    asked: dict[tuple[int, str], list[Fault]] = {}
    for place, fault in site_faults(levels):
        asked.setdefault(place, []).append(fault)
    return tuple(
        with_questions(one, asked[place], corrections, study)
        if (place := (one.season, one.site)) in asked
        else one
        for one in site_seasons
    )


def _read(
    study: Study, corrections: Corrections, tables: bool, place: tuple[int, str]
) -> SiteSeason:
    """Read a site-season; tables that nobody wants are not sent from one process to another."""
    one = read_site_season(study, *place, corrections=corrections)
    return one if tables else replace(one, tables={})


def _stray_corrections(study: Study, corrections: Corrections) -> Iterator[Fault]:
    """Corrections of files that stand in no folder of a site-season."""
    planned = {study.data_folder(*one).relative_to(study.folder) for one in study.site_seasons()}
    yield from corrections.faults
    for line in corrections.lines:
        if line.file != COSTS_FILE and PurePosixPath(line.file).parent not in planned:
            yield no_such_file(line, corrections.path, ["data/2026/SITE/scouting.csv, say"])


def _unplanned_folders(study: Study) -> Iterator[Fault]:
    """Folders under data/ that study.toml does not plan, and that nobody reads therefore."""
    planned = {study.data_folder(*one) for one in study.site_seasons()}
    seasons = {folder.parent for folder in planned}
    data = study.folder / "data"
    for folder in sorted(path for path in data.glob("*") if path.is_dir()):
        inner = sorted(path for path in folder.glob("*") if path.is_dir())
        for path in inner if folder in seasons else [folder]:
            if path not in planned:
                yield Fault(
                    path.as_posix(),
                    what="study.toml plans no such site or season; the folder was not read",
                    remedy="Add it to study.toml, or mend the name of the folder",
                    code="unknown_folder",
                    severity="question",
                )
