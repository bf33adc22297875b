"""The record that each render leaves beside its report, and the note of a failed one."""

import csv
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trialkit.batch.files import digest
from trialkit.narrative.lined_json import lined_json

RECORD = "record.json"
FAILURE = "failure.json"
PAGE = "report.html"
NOTEBOOK = "report.ipynb"
FINDINGS = "findings.csv"
HANDED_ON = (
    *(FINDINGS, "plot_values.csv", "departures.csv", "moved_by_corrections.csv"),
    *("plot_values_as_typed.csv", "background.json"),
)
FAILED_NOTEBOOK = "failed.ipynb"
FORMAT = 1


@dataclass(frozen=True)
class Record:
    """What went in, what came out and how long it took.

    ``inputs`` gives a checksum or version for each thing that the report depends on. ``outputs``
    gives checksum, size and time of change of each file; ``cells`` the seconds of each code cell.
    ``words`` tells what is amiss with the narrative: unsupported claims, and faults to mend.
    ``effects`` are those that the words rest on, in the unit that people read; ``before`` is when,
    from what inputs and with what effects the report was rendered the time before.
    """

    parameters: Mapping[str, Any]
    seed: int
    inputs: Mapping[str, str]
    outputs: Mapping[str, Mapping[str, Any]]
    verdicts: Sequence[Mapping[str, str]] = ()
    rendered: str = ""
    seconds: float = 0.0
    cells: Sequence[Mapping[str, Any]] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Any] = field(default_factory=dict)
    effects: Sequence[Mapping[str, Any]] = ()
    before: Mapping[str, Any] = field(default_factory=dict)
    format: int = FORMAT

    def to_bytes(self) -> bytes:
        """Return the record as it stands in its file."""
        return lined_json(vars(self))


@dataclass(frozen=True)
class Failure:
    """Why the last render of a report failed; stands beside the report of an earlier render."""

    faults: tuple[str, ...]
    rendered: str = ""

    def to_bytes(self) -> bytes:
        """Return the note as it stands in its file."""
        return lined_json(vars(self))


def read_record(folder: Path) -> Record | None:
    """Return the record in a report's folder, or None when there is none that can be used."""
    content = _json_in(folder / RECORD)
    if content is None or content.get("format") != FORMAT:
        return None
    try:
        return Record(**content)
    except TypeError:  # made by another version: the report is due
        return None


def read_failure(folder: Path) -> Failure | None:
    """Return the note of a failed render, or None."""
    content = _json_in(folder / FAILURE)
    return Failure(tuple(content["faults"]), content.get("rendered", "")) if content else None


def _json_in(path: Path) -> dict[str, Any] | None:
    try:
        content = json.loads(path.read_bytes())
    except (OSError, ValueError):
        return None
    return content if isinstance(content, dict) else None


def description_of(path: Path) -> dict[str, Any]:
    """Return checksum, size and time of change of a finished file."""
    about = path.stat()
    return {
        "sha256": digest(path.read_bytes()),
        "size": about.st_size,
        "changed": about.st_mtime_ns,
    }


def still_as_described(path: Path, described: Mapping[str, Any]) -> bool:
    """Say whether a finished file is as it was; reads it only where its time of change differs."""
    try:
        about = path.stat()
        if (about.st_size, about.st_mtime_ns) == (described["size"], described["changed"]):
            return True
        return digest(path.read_bytes()) == described["sha256"]
    except OSError:
        return False


def verdicts_in(findings: Path) -> list[dict[str, str]]:
    """Return the verdicts that a findings file holds, one for each measure and treatment."""
    if not findings.is_file():
        return []
    with findings.open(newline="", encoding="utf-8") as stream:
        return [
            {key: row.get(key, "") for key in ("measure", "treatment", "verdict", "direction")}
            for row in csv.DictReader(stream)
        ]
