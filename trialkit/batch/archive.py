"""Archiving a study: its data and texts, tidy tables, reports made from just these, checksums."""

import json
import os
import tempfile
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Final

from trialkit.batch.due import versions
from trialkit.batch.files import disk_faults_in_words
from trialkit.batch.index import write_index
from trialkit.batch.own_wheel import write_own_wheel
from trialkit.batch.progress import Watcher
from trialkit.batch.record import FAILED_NOTEBOOK, FAILURE, RECORD, read_record
from trialkit.batch.run import Request, Summary, render
from trialkit.batch.same_findings import require_same_findings
from trialkit.errors import Fault, TrialkitError
from trialkit.publish.archive import (
    Deposit,
    copy_study,
    edition_of_archive,
    finished,
    notes_on,
    write_zip,
)
from trialkit.publish.editions import Edition, coded_name
from trialkit.study import Study, read_study

ARCHIVES: Final = "archives"
SOFTWARE: Final = "software"
PROVENANCE: Final = "provenance.json"
_OF_THE_STUDY: Final = ("data", "narrative", "private")
_NOT_ARCHIVED: Final = (RECORD, FAILURE, FAILED_NOTEBOOK)
_KEPT_OF_RECORD: Final = ("parameters", "seed", "inputs", "versions", "verdicts")


@dataclass(frozen=True)
class Archived:
    """An archive that was written: its folder, its zip file, and what a person should know.

    ``missing`` are the titles of reports that could not be rendered.
    """

    folder: Path
    packed: Path
    files: int
    notes: tuple[Fault, ...]
    missing: tuple[str, ...]
    summary: Summary


@dataclass(frozen=True)
class _Making:
    """An archive on its way: where it is made, on which day, and for whom."""

    folder: Path
    made: date
    private: bool


def archive(
    request: Request, made: date, *, private: bool = False, watcher: Watcher | None = None
) -> Archived:
    """Write the archive of a study under ``request.out`` and return where it is.

    The reports in ``request.out`` are brought up to date first; those of the archive are made from
    its own copy of the study, and must say the same. The archive appears whole or not at all.
    Raises TrialkitError when one is there already, or when it would say something private.
    """
    study = read_study(request.study)
    _require_outside(request.out, study)
    place = request.out / study.name / ARCHIVES
    with disk_faults_in_words(place):
        place.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=place, prefix=".making-") as folder:
            return _archived(request, study, _Making(Path(folder), made, private), watcher)


def _archived(request: Request, study: Study, making: _Making, watcher: Watcher | None) -> Archived:
    edition = edition_of_archive(study, making.private)
    root = making.folder / archive_name(coded_name(study, edition.names), making)
    _require_new(root.name, making.folder.parent)
    own = render(replace(request, season=None, site=None), watcher)
    copy_study(study, edition, root / "study")
    inner = replace(request, study=root / "study", out=root / "reports")
    summary = render(replace(inner, season=None, site=None, force=True), watcher)
    require_same_findings(own, summary, edition.names)
    _tidy_reports(summary, edition)
    (root / SOFTWARE).mkdir()
    write_own_wheel(root / SOFTWARE)
    missing = tuple(sorted(outcome.target.title for outcome in summary.failed))
    known = Deposit(summary.study, root.name, making.made, making.private, versions(), missing)
    deposit = finished(root, known, edition, making.folder.name)
    folder, packed = _put_in_place(root)
    files = sum(path.is_file() for path in folder.rglob("*"))
    return Archived(folder, packed, files, notes_on(deposit), missing, own)


def archive_name(study: str, making: _Making) -> str:
    """Return the name of an archive's folder, such as ``squash_2026-11-05_private``."""
    return f"{study}_{making.made.isoformat()}{'_private' if making.private else ''}"


def _require_new(name: str, place: Path) -> None:
    for there in (place / name, place / f"{name}.zip"):
        if there.exists():
            raise TrialkitError(
                f"{there.as_posix()}::: there is an archive of this day already. Delete it or move "
                "it away if it is not the one to keep; or give another folder with --out."
            )


def _require_outside(out: Path, study: Study) -> None:
    """What is archived must not stand among what is to be archived."""
    for name in _OF_THE_STUDY:
        if out.resolve().is_relative_to((study.folder / name).resolve()):
            raise TrialkitError(
                f"{out.as_posix()}::: this lies inside the study's own folder {name}. Give a "
                "folder outside it with --out."
            )


def _tidy_reports(summary: Summary, edition: Edition) -> None:
    """Leave the finished reports, and of their records what is the same at every making."""
    reports = summary.index.parent
    write_index(summary.study, reports, frozenset(), edition.words)
    for path in sorted(reports.rglob(RECORD)):
        record = read_record(path.parent)
        if record is not None:
            told = {name: getattr(record, name) for name in _KEPT_OF_RECORD}
            text = json.dumps(told, indent=1, sort_keys=True, ensure_ascii=False, default=dict)
            (path.parent / PROVENANCE).write_bytes(f"{text}\n".encode())
    for path in sorted(reports.rglob("*")):
        if path.is_file() and (path.name in _NOT_ARCHIVED or path.name.startswith(".")):
            path.unlink()


def _put_in_place(root: Path) -> tuple[Path, Path]:
    """Pack the finished archive, and move folder and zip to where people find them."""
    place = root.parent.parent
    packed = root.parent / f"{root.name}.zip"
    write_zip(root, packed)
    os.replace(root, place / root.name)
    os.replace(packed, place / packed.name)
    return place / root.name, place / packed.name
