"""What an archive holds: every file, what it is, its size and checksum."""

import hashlib
import re
import unicodedata
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path, PurePosixPath
from typing import Final

from trialkit.errors import Fault, StudyError
from trialkit.publish.archive.report_fields import OF_REPORTS
from trialkit.publish.archive.tables import Table
from trialkit.study import STUDY_FILE, Study

STUDY: Final = "study"
REPORTS: Final = "reports"
TABLES: Final = "tables"
SOFTWARE: Final = "software"
DATA_PACKAGE: Final = "datapackage.json"
CRATE: Final = "ro-crate-metadata.json"
CHECKSUMS: Final = "checksums.sha256"
FINDINGS_CHECKSUMS: Final = "findings.sha256"
DICTIONARY: Final = "DICTIONARY.html"
README: Final = "README.md"
LICENCE: Final = "LICENSE.txt"
CITATION: Final = "CITATION.cff"
VERSIONS: Final = "requirements.txt"

_MEDIA_TYPES: Final = {
    ".csv": "text/csv",
    ".cff": "application/yaml",
    ".html": "text/html",
    ".ipynb": "application/x-ipynb+json",
    ".json": "application/json",
    ".md": "text/markdown",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
    ".toml": "application/toml",
    ".tsv": "text/tab-separated-values",
    ".txt": "text/plain",
    ".whl": "application/zip",
    ".xlsm": "application/vnd.ms-excel.sheet.macroEnabled.12",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
_AT_THE_TOP: Final = {
    README: "What this archive is, and how to make its reports again",
    LICENCE: "What others may do with the data",
    CITATION: "How to cite the data",
    DICTIONARY: "Every table and column in plain words",
    VERSIONS: "Versions of the software that made the reports",
    FINDINGS_CHECKSUMS: "Checksums that findings made again must have",
}
_OF_A_REPORT: Final = {
    "report.html": "Report as a page",
    "report.ipynb": "Report as an executed notebook",
    **{name: table.about for name, table in OF_REPORTS.items()},
    "background.json": "What the report hands on to the report across all",
    "facts.json": "Everything that the report's sentences rest on",
    "provenance.json": "What the report was made from: checksums, versions, seed, verdicts",
    "index.html": "Index page that leads to every report",
}
# What no system can unpack safely: control and direction marks, and what Windows does not allow.
_UNFIT: Final = re.compile(r'[\x00-\x1f\x7f<>:"|?*\\\u200e\u200f\u202a-\u202e\u2066-\u2069]')
_RESERVED: Final = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@dataclass(frozen=True)
class Deposit:
    """What is known of an archive before its files are described.

    ``study`` is the copy that the archive holds, ``name`` that of its folder, ``made`` the day of
    archiving; ``missing`` are the titles of reports that could not be rendered, ``errors`` the
    number of errors in the data, ``versions`` those of the software.
    """

    study: Study
    name: str
    made: date
    private: bool
    versions: Mapping[str, str]
    missing: tuple[str, ...] = ()
    errors: int = 0

    @property
    def title(self) -> str:
        """Title of the archived data."""
        return f"{self.study.title}: data and reports"

    @property
    def summary(self) -> str:
        """What the data are, in a sentence or two."""
        invented = "The data are INVENTED, to show the program. " if self.study.invented else ""
        return f"{invented}{' '.join(self.study.summary.split())}".strip() or self.study.title


@dataclass(frozen=True)
class Member:
    """One file of an archive; ``table`` or ``fields`` where it is one with known columns."""

    path: str
    about: str
    size: int
    sha256: str
    table: Table | None = field(default=None, compare=False)
    fields: tuple = ()

    @property
    def media_type(self) -> str:
        """Media type, by the ending of the name."""
        return _MEDIA_TYPES.get(
            PurePosixPath(self.path).suffix.casefold(), "application/octet-stream"
        )


def members_of(folder: Path, tables: Iterable[Table], but: Iterable[str]) -> tuple[Member, ...]:
    """Describe every file of an archive's folder in the order of their names, ``but`` some."""
    by_path = {f"{TABLES}/{table.name}.csv": table for table in tables}
    paths = files_in(folder)
    return tuple(
        _member(folder / path, path, by_path.get(path)) for path in paths if path not in set(but)
    )


def files_in(folder: Path) -> list[str]:
    """Names of all files below a folder, with / between, sorted."""
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file())


def _member(path: Path, name: str, table: Table | None) -> Member:
    data = path.read_bytes()
    beside = OF_REPORTS.get(path.name) if name.startswith(f"{REPORTS}/") else None
    fields = beside.fields if beside else ()
    about = f"Table of {table.name}: each row is {table.row_is}" if table else _about(name)
    return Member(name, about, len(data), hashlib.sha256(data).hexdigest(), table, fields)


def _about(name: str) -> str:
    path = PurePosixPath(name)
    if name in _AT_THE_TOP:
        return _AT_THE_TOP[name]
    if path.parts[0] == REPORTS:
        where = " ".join(path.parts[2:-1])
        return f"{_OF_A_REPORT.get(path.name, 'File of a report')}{f' ({where})' if where else ''}"
    if path.parts[0] == STUDY:
        return _of_the_study(path)
    return "trialkit as it made the reports" if path.parts[0] == SOFTWARE else "File"


def _of_the_study(path: PurePosixPath) -> str:
    known = {
        STUDY_FILE: "Description of the study: treatments, sites, seasons, measures, margins",
        "costs.csv": "Costs of the treatments, as typed",
        "corrections.csv": "Corrections of the field sheets, on record",
    }
    if path.parts[1] == "narrative":
        return "Text of a report, as people wrote it"
    if path.parts[1] == "data":
        return f"Field sheet ({' '.join(path.parts[2:-1])})"
    return known.get(path.name, "File of the study")


def require_portable(names: Iterable[str], root: str) -> None:
    """Raise StudyError with every file whose name cannot be unpacked on each system."""
    faults = [
        Fault(
            f"{root}/{name}".encode("unicode_escape").decode(),
            what=f"the name {why}, so that the archive could not be unpacked everywhere",
            remedy="Rename the file, and the corrections that name it",
            code="file_name",
        )
        for name, why in _unfit(names)
    ]
    if faults:
        raise StudyError(tuple(faults))


def _unfit(names: Iterable[str]) -> Iterator[tuple[str, str]]:
    seen: dict[str, str] = {}
    for name in names:
        parts = name.split("/")
        folded = unicodedata.normalize("NFC", name).casefold()
        if name.startswith("/") or any(part in ("", ".", "..") for part in parts):
            yield name, "leads out of its folder"
        elif _UNFIT.search(name) or not _is_text(name):
            yield name, "holds a character that not every system allows"
        elif any(_RESERVED.fullmatch(part) or part.endswith((".", " ")) for part in parts):
            yield name, "is not allowed on every system"
        elif folded in seen:
            yield name, f"differs from '{seen[folded]}' by small and capital letters only"
        seen.setdefault(folded, name)


def _is_text(name: str) -> bool:
    try:
        name.encode()
    except UnicodeEncodeError:  # bytes of a name that is not UTF-8
        return False
    return True
