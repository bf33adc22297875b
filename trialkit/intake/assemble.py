"""Putting the checked tables of a site-season together, with what is absent and what is odd."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from trialkit.columns import TABLES
from trialkit.errors import Fault, Severity
from trialkit.intake.cells import Typed
from trialkit.intake.context import Context
from trialkit.intake.corrections import Correction
from trialkit.intake.files import Found
from trialkit.intake.header import describe_empty
from trialkit.intake.layout import balance_notes, presence_notes
from trialkit.intake.problems import as_faults, empty_left_out
from trialkit.intake.schemas import blank_table_frame
from trialkit.intake.site_season import SiteSeason
from trialkit.intake.suspicion import suspicions
from trialkit.intake.suspicion.rows import Tables, in_rows
from trialkit.intake.suspicion.sites import CheckLevel, check_levels
from trialkit.study import Study

# Tables that a kind of measure is worked out from, plots aside.
_NEEDED: Final = {
    "insect_days": ("scouting",),
    "season_mean": ("scouting",),
    "peak_count": ("scouting",),
    "days_to_threshold": ("scouting",),
    "percent_infested": ("scouting",),
    "damage_curve": ("ratings",),
    "final_score": ("ratings",),
    "marketable_yield": ("harvest",),
    "marketable_per_plant": ("harvest",),
    "early_yield": ("harvest",),
    "fruit_number": ("harvest",),
    "mean_fruit_weight": ("harvest",),
    "target_size_share": ("fruit_sizes",),
    "cull_percent": ("harvest",),
    "days_to_first_bloom": ("events",),
    "days_to_half_bloom": ("events",),
}


@dataclass(frozen=True)
class CheckedTable:
    """One table after all checks: rows that stand (SI units), faults, rows out, corrections."""

    frame: pd.DataFrame
    faults: tuple[Fault, ...]
    left_out: pd.DataFrame
    typed: Typed
    corrections: tuple[Correction, ...] = ()


Checked = dict[str, CheckedTable]


def put_together(
    context: Context, season: int, site: str, found: Found, checked: Checked
) -> SiteSeason:
    """Return the site-season: tables, every fault, rows left out, and whether it can be used."""
    tables = _blank() | {table: one.frame for table, one in checked.items()}
    known = in_rows(tables)
    rows = any(len(one.typed.sheet.cells) for one in checked.values())
    faults = [
        *found.faults,
        *(fault for table in TABLES if table in checked for fault in checked[table].faults),
        *_absences(context, context.study.data_folder(season, site), checked, rows=rows),
        *_oddities(context, checked, known),
    ]
    left_out = [one.left_out for one in checked.values() if len(one.left_out)]
    return SiteSeason(
        season,
        site,
        tables,
        tuple(faults),
        found.files,
        pd.concat(left_out, ignore_index=True) if left_out else empty_left_out(),
        _why_unusable(checked, rows=rows),
        not rows and not any(fault.severity == "error" for fault in faults),
        check_levels=tuple(_levels(context, checked, known)),
    )


def _blank() -> dict[str, pd.DataFrame]:
    return {table: blank_table_frame(table) for table in TABLES}


def unreadable(season: int, site: str, found: Found) -> SiteSeason:
    """Return a site-season of which no table can be read."""
    return SiteSeason(season, site, _blank(), found.faults, found.files, unusable=found.unusable)


def without_folder(study: Study, season: int, site: str, folder: Path) -> SiteSeason:
    """Return a site-season without a folder: an error, unless nothing was due to be typed yet."""
    begun = study.season(season).finished or any(
        study.data_folder(season, other).is_dir() for other in study.sites_of(season)
    )
    anything = any(study.data_folder(*one).is_dir() for one in study.site_seasons())
    missing = begun and anything
    name = study.site(site).name
    fault = Fault(
        folder.as_posix(),
        what=f"there is no folder for {name} in {season}"
        if missing
        else f"nothing typed yet for {name} in {season}",
        remedy="Put the site's files there, or take the site out of the season in study.toml"
        if missing
        else "Make this folder and put plots.csv into it when the trial is laid out",
        code="missing_folder" if missing else "nothing_typed",
        severity="error" if missing else "note",
    )
    return SiteSeason(
        season, site, _blank(), (fault,), unusable=fault.what, nothing_typed=not missing
    )


def _absences(context: Context, folder: Path, checked: Checked, *, rows: bool) -> Iterator[Fault]:
    """Tables without a file, and files without rows."""
    needed = {table for m in context.study.measures for table in _NEEDED.get(m.kind, ())}
    for table in TABLES:
        if table in checked:
            yield from _if_empty(checked[table], rows=rows)
        elif table == "plots" or table in needed:
            yield _missing_file(context, folder, table, rows=rows)


def _if_empty(one: CheckedTable, *, rows: bool) -> Iterator[Fault]:
    sheet = one.typed.sheet
    if len(sheet.cells) or sheet.broken:
        return
    severity: Severity = "note"
    if sheet.table == "plots":
        severity = "error" if rows else "question"
    yield Fault(
        sheet.place.file,
        what=f"nothing typed yet in {sheet.table}",
        remedy=describe_empty(sheet.table),
        code="nothing_typed",
        severity=severity,
    )


def _missing_file(context: Context, folder: Path, table: str, *, rows: bool) -> Fault:
    due = context.season is not None and context.season.finished
    severity: Severity = "question" if due else "note"
    if table == "plots":
        severity = "error" if rows else "question"
    return Fault(
        (folder / f"{table}.csv").as_posix(),
        what="the file is missing" if rows else f"nothing typed yet in {table}",
        remedy=f"{describe_empty(table)}; leave it if this is not recorded here",
        code="missing_file" if rows else "nothing_typed",
        severity=severity,
    )


def _oddities(context: Context, checked: Checked, tables: Tables) -> Iterator[Fault]:
    if context.layout is None:
        return
    place = checked["plots"].typed.sheet.place
    yield from as_faults(balance_notes(tables["plots"].frame, context.study), place)
    frames = {table: rows.frame for table, rows in tables.items()}
    for table, problem in presence_notes(frames, context.layout):
        yield from as_faults([problem], checked[table].typed.sheet.place)
    for table, problem in suspicions(tables):
        sheet = checked[table].typed.sheet
        yield from as_faults([problem], sheet.place, sheet.cells)


def _levels(context: Context, checked: Checked, tables: Tables) -> Iterator[CheckLevel]:
    if context.layout is None:
        return
    finished = context.season is None or context.season.finished
    for level in check_levels(tables, context.study.check.id, finished):
        sheet = checked[level.table].typed.sheet
        (fault,) = as_faults([level.problem], sheet.place, sheet.cells)
        yield replace(level, fault=fault)


def _why_unusable(checked: Checked, *, rows: bool) -> str:
    plots = checked.get("plots")
    if plots is None:
        return "there is no plots table" if rows else "nothing typed yet"
    if plots.typed.sheet.broken:
        return f"the plots table cannot be used: {plots.typed.sheet.broken}"
    if not len(plots.typed.sheet.cells):
        return "the plots table has no rows" if rows else "nothing typed yet"
    return "" if len(plots.frame) else "every row of the plots table has an error"
