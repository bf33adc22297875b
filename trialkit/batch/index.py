"""The index page, from what stands in the reports' folders."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trialkit.batch.files import write_whole
from trialkit.batch.record import FAILED_NOTEBOOK, PAGE, Failure, Record, read_failure, read_record
from trialkit.batch.targets import Target, targets_of, whole_study_of
from trialkit.batch.word_records import words_of
from trialkit.publish import ClaimLine, IndexEntry, VerdictLine, index_page
from trialkit.study import Study

if TYPE_CHECKING:
    from trialkit.publish.index import Status


def write_index(study: Study, reports: Path, stale: frozenset[Target], edition: str = "") -> None:
    """Write the index page of a study that leads to all its reports.

    ``edition`` says for whom the pages are. An edition tells no faults, for they quote what was
    typed into cells, and leads to no notebook.
    """
    entries = [
        _entry(target, reports, target in stale)
        for target in (*whole_study_of(study), *targets_of(study))
    ]
    if edition:
        entries = [replace(entry, faults=(), notebook="") for entry in entries]
    write_whole(reports / "index.html", index_page(study, entries, edition).encode())


def _entry(target: Target, reports: Path, stale: bool) -> IndexEntry:
    folder = target.folder(reports)
    record, failure = read_record(folder), read_failure(folder)
    return IndexEntry(
        season=target.season,
        site=target.site,
        href=f"{target.key}/{PAGE}" if record else "",
        status=_status(record, failure, stale),
        faults=failure.faults if failure else (),
        notebook=_link(target, folder, FAILED_NOTEBOOK),
        verdicts=tuple(VerdictLine(**line) for line in record.verdicts) if record else (),
        claims=tuple(map(_claim_line, words_of(target, reports).claims)),
        title=target.title,
    )


def _claim_line(claim: Mapping[str, Any]) -> ClaimLine:
    return ClaimLine(claim["text"], claim["standing"], claim["note"])


def _status(record: Record | None, failure: Failure | None, stale: bool) -> "Status":
    if failure:
        return "old" if record else "failed"
    if record is None:
        return "due"
    return "stale" if stale else "ready"


def _link(target: Target, folder: Path, name: str) -> str:
    return f"{target.key}/{name}" if (folder / name).is_file() else ""
