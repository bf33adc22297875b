"""Writing an archive around a copy of a study and its reports."""

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from trialkit.intake.study_intake import StudyIntake, check_study
from trialkit.publish.archive.checksums import checksum_lines
from trialkit.publish.archive.contents import (
    CHECKSUMS,
    CRATE,
    DATA_PACKAGE,
    DICTIONARY,
    FINDINGS_CHECKSUMS,
    REPORTS,
    TABLES,
    Deposit,
    files_in,
    members_of,
    require_portable,
)
from trialkit.publish.archive.copying import said_by_nobody
from trialkit.publish.archive.crate import crate
from trialkit.publish.archive.data_package import data_package
from trialkit.publish.archive.dictionary import dictionary_page
from trialkit.publish.archive.leaks import require_no_place, require_nothing_private
from trialkit.publish.archive.tables import Table, archive_tables
from trialkit.publish.archive.wording import texts_of
from trialkit.publish.editions import Edition


def finished(folder: Path, deposit: Deposit, edition: Edition, place: str) -> Deposit:
    """Write all that is missing around the copy of the study and its reports, and look it through.

    ``place`` is where the archive was made, which no file may tell. Returns what is known of the
    archive now. Raises StudyError when a file says something private.
    """
    intake = check_study(deposit.study)
    deposit = replace(deposit, errors=len(intake.errors))
    write_archive(folder, deposit, intake)
    require_no_place(folder, place)
    if not deposit.private:
        require_nothing_private(folder, said_by_nobody(deposit.study, edition.names))
    return deposit


def write_archive(folder: Path, deposit: Deposit, intake: StudyIntake) -> None:
    """Write tables, dictionary, texts, descriptors and checksums into an archive's folder.

    The folder holds the copy of the study and its reports already. Raises StudyError for names of
    files that cannot be unpacked on every system.
    """
    tables = archive_tables(deposit.study, intake, deposit.private)
    _write_tables(folder, tables)
    _write_texts(folder, {**texts_of(deposit), DICTIONARY: dictionary_page(deposit, tables)})
    _write_findings_checksums(folder)
    require_portable(files_in(folder), folder.name)
    members = members_of(folder, tables, (DATA_PACKAGE, CRATE, CHECKSUMS))
    _write_json(folder / DATA_PACKAGE, data_package(deposit, members))
    described = members_of(folder, tables, (CRATE, CHECKSUMS))
    _write_json(folder / CRATE, crate(deposit, described))
    names = [name for name in files_in(folder) if name != CHECKSUMS]
    (folder / CHECKSUMS).write_bytes(checksum_lines(folder, names))


def _write_tables(folder: Path, tables: tuple[Table, ...]) -> None:
    (folder / TABLES).mkdir()
    for table in tables:
        (folder / TABLES / f"{table.name}.csv").write_bytes(table.to_bytes())


def _write_texts(folder: Path, texts: Mapping[str, str]) -> None:
    for name, text in texts.items():
        (folder / name).write_bytes(text.encode())


def _write_findings_checksums(folder: Path) -> None:
    """Checksums as seen from a folder that reports were rendered into anew."""
    reports = folder / REPORTS
    names = [name for name in files_in(reports) if name.endswith("/findings.csv")]
    (folder / FINDINGS_CHECKSUMS).write_bytes(checksum_lines(reports, names))


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    path.write_bytes(f"{json.dumps(content, indent=1, ensure_ascii=False)}\n".encode())
