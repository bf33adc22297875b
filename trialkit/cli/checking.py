"""The command that reads everything and lists every problem."""

import os
from collections.abc import Iterable
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from trialkit.cli.app import (
    AT_FAULT,
    DONE,
    AsJson,
    Debug,
    Out,
    StudyFolder,
    app,
    print_json,
    print_lines,
    tell_faults,
)
from trialkit.cli.mending import Mended, mended, mended_lines

if TYPE_CHECKING:
    from trialkit.intake import StudyIntake
    from trialkit.study import Study


SHEETS_SHOWN = 12


@app.command()
def check(
    study: StudyFolder,
    fix: Annotated[
        bool,
        typer.Option("--fix", help="Offer corrections that are safe; write them on a yes."),
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="With --fix: yes to all of them.")] = False,
    by: Annotated[
        str | None, typer.Option("--by", help="With --fix: who makes the corrections.")
    ] = None,
    out: Out = Path("reports"),
    workers: Annotated[
        int | None,
        typer.Option("--workers", min=1, help="Processes that read (default: one per core)."),
    ] = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Read everything, list every problem, render nothing."""
    from trialkit.study import read_study

    if (yes or by) and not fix:
        raise typer.BadParameter("--yes and --by go with --fix")
    described = read_study(study)
    found, faults = _read(described, out, workers)
    if not as_json:
        _tell(found, faults)
    done = None
    if fix:
        done = mended(described, found, yes=yes, by=by, quiet=as_json)
        if done.written:
            found, faults = _read(described, out, workers)
    if as_json:
        print_json(check_data(study, found, faults, done))
    elif done:
        print_lines(mended_lines(done, described))
        print_lines([check_tally(len(found.site_seasons), faults)] if done.written else [])
    raise typer.Exit(AT_FAULT if found.errors else DONE)


def _read(study: "Study", out: Path, workers: int | None) -> tuple["StudyIntake", tuple[Any, ...]]:
    """Everything that was read, and every fault of it and of the narrative."""
    from trialkit.batch.check_words import typed_numbers
    from trialkit.intake import check_study

    found = check_study(study, workers=workers or os.cpu_count() or 1, tables=False)
    return found, (*found.faults, *typed_numbers(study, out / study.name))


def _tell(found: "StudyIntake", faults: Iterable[Any]) -> None:
    tell_faults(printable(str(fault)) for fault in faults)
    print_lines(map(printable, preview_lines(found)))
    typer.echo(check_tally(len(found.site_seasons), faults))


def printable(text: str) -> str:
    r"""Return a line in which signs that a terminal would obey, or cannot show, stand escaped.

    >>> printable("plot 1\u202e01")
    'plot 1\\u202e01'
    """
    return "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )


def preview_lines(found: "StudyIntake") -> Iterable[str]:
    """Show the first tidy rows of mapped sheets, each value beside its cell."""
    shown = [preview for one in found.site_seasons for preview in one.previews]
    for preview in shown[:SHEETS_SHOWN]:
        yield f"{preview.file} is read as {preview.table}; its first rows, and their cells:"
        for row in preview.rows:
            cells = (
                f"{name} {origin.value} ({origin.cell})"
                if origin.cell
                else f"{name} {origin.value}"
                for name, origin in row.items()
            )
            yield f"  {', '.join(cells)}"
    if len(shown) > SHEETS_SHOWN:
        yield f"{len(shown) - SHEETS_SHOWN} more sheets are mapped; --json shows them all."


def check_data(
    study: Path, found: "StudyIntake", faults: Iterable[Any], done: Mended | None
) -> dict[str, Any]:
    """Return what the command found, and what it offered and wrote, as plain data."""
    previews = (preview for one in found.site_seasons for preview in one.previews)
    data: dict[str, Any] = {
        "study": printable(str(study)),
        "faults": [asdict(fault) for fault in faults],
        "first_rows": [asdict(preview) for preview in previews],
    }
    if done:
        data["offered"] = [asdict(line) for line in done.offered]
        data["written"] = [asdict(line) for line in done.written]
    return data


def check_tally(read: int, faults: Iterable[Any]) -> str:
    """Say how many site-seasons were read, and how many faults of each kind there are."""
    count = dict.fromkeys(("error", "question", "note"), 0)
    for fault in faults:
        count[fault.severity] += 1
    words = [f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in count.items()]
    return f"{read} site-season{'' if read == 1 else 's'} read: {', '.join(words)}."
