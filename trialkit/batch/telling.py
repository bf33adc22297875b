"""What a render did, said in lines and as plain data."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from trialkit.batch.due import Standing
from trialkit.batch.record import read_record
from trialkit.batch.run import Request, Summary
from trialkit.batch.targets import targets_of, whole_study_of

LONGEST_CELLS = 8


def summary_lines(summary: Summary) -> Iterator[str]:
    """Say how many reports were made, what took longest, moved or failed, and where to look."""
    made = [outcome for outcome in summary.outcomes if not outcome.failed]
    parts = [f"{len(made)} rendered", f"{len(summary.not_due)} not due"]
    parts += [f"{len(summary.failed)} failed"] if summary.failed else []
    yield f"{summary.study.title}: {', '.join(parts)}."
    if made:
        slowest = max(made, key=lambda outcome: outcome.seconds)
        yield f"Slowest: {slowest.target.title}, {slowest.seconds:.1f} s."
    for change in summary.changes:
        measure = summary.study.measure(change.measure).name
        treatment = summary.study.treatment(change.treatment).label
        yield f"Changed: {change.title}, {measure}, {treatment}: {change.before} -> {change.now}."
    for outcome in summary.failed:
        yield f"Failed: {outcome.target.title}; the faults are told above."
    for words in summary.unsupported:
        count = len(words.claims)
        told = f"{count} claim{'' if count == 1 else 's'} not supported by the data"
        yield f"{words.target.title}: {told}; told above and marked in the page."
    yield f"All reports: {summary.index}"


def summary_data(summary: Summary) -> dict[str, Any]:
    """Return what a render did as plain data."""
    return {
        "study": summary.study.name,
        "index": str(summary.index),
        "rendered": [
            {"report": outcome.target.key, "seconds": round(outcome.seconds, 3)}
            for outcome in summary.outcomes
            if not outcome.failed
        ],
        "changed": [vars(change) for change in summary.changes],
        "failed": [{"report": o.target.key, "faults": list(o.faults)} for o in summary.failed],
        "not_due": [target.key for target in summary.not_due],
        "narrative": [
            {"report": one.target.key, "claims": list(one.claims), "faults": list(one.faults)}
            for one in summary.words
            if one.faults
        ],
    }


def fault_lines(summary: Summary, study: Path) -> Iterator[str]:
    """Give every fault with its file as seen from the current folder."""
    faults = [fault for outcome in summary.failed for fault in outcome.faults]
    faults += [fault for words in summary.words for fault in words.faults]
    for fault in faults:
        yield fault if Path(fault.split(":")[0]).is_absolute() else f"{study.as_posix()}/{fault}"


def why_lines(standings: Sequence[Standing]) -> Iterator[str]:
    """Say of each report whether it is due, and why."""
    for standing in standings:
        state = f"due: {'; '.join(standing.reasons)}" if standing.is_due else "not due"
        yield f"{standing.target.title}: {state}"


def profile_lines(summary: Summary, request: Request) -> Iterator[str]:
    """List where the time of the last renders went, from the records of all reports."""
    study, reports = summary.study, request.out / summary.study.name
    seconds: dict[str, float] = {}
    total = inside = 0.0
    for target in (*targets_of(study), *whole_study_of(study)):
        record = read_record(target.folder(reports))
        for cell in record.cells if record else ():
            seconds[cell["cell"]] = seconds.get(cell["cell"], 0.0) + cell["seconds"]
        total += record.seconds if record else 0.0
    inside = sum(seconds.values())
    if not total:
        yield "No report has been rendered yet, so there is no time to list."
        return
    yield f"Seconds of all reports at their last render: {total:.1f}"
    longest = sorted(seconds.items(), key=lambda item: -item[1])
    rest = sum(time for _, time in longest[LONGEST_CELLS:])
    rows = [*longest[:LONGEST_CELLS], ("all other cells", rest)]
    for name, time in [*rows, ("kernel, page and files", total - inside)]:
        yield f"  {name:24s} {time:8.1f} s {100 * time / total:5.0f} %"
