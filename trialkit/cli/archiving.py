"""The command that writes a deposit-ready archive of a study."""

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.console import Console

from trialkit.cli.app import (
    AT_FAULT,
    DONE,
    UNSUPPORTED,
    AsJson,
    Debug,
    Out,
    StudyFolder,
    Workers,
    app,
    print_json,
    print_lines,
    tell_faults,
)

if TYPE_CHECKING:
    from trialkit.batch.archive import Archived


@app.command()
def archive(
    study: StudyFolder,
    out: Out = Path("reports"),
    private: Annotated[
        bool, typer.Option("--private", help="Keep names, notes and files just as they are.")
    ] = False,
    workers: Workers = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Write data, tidy tables, reports and their description as one package to deposit."""
    from trialkit.batch import Request, telling
    from trialkit.batch.archive import archive as archiving
    from trialkit.batch.progress import watching

    with watching(Console(stderr=True)) as watcher:
        request = Request(study, out, workers=workers)
        made = archiving(request, date.today(), private=private, watcher=watcher)
    tell_faults(telling.fault_lines(made.summary, study))
    tell_faults(str(note) for note in made.notes)
    if as_json:
        print_json(_told(made, study, private))
    else:
        print_lines(_lines(made))
    if made.missing or made.summary.undecided:
        raise typer.Exit(AT_FAULT)
    raise typer.Exit(UNSUPPORTED if made.summary.unsupported else DONE)


def _lines(made: "Archived") -> list[str]:
    lines = [f"Not in the archive, for it could not be rendered: {one}." for one in made.missing]
    lines.append(f"{made.files} files, all of them described in {made.folder}/README.md.")
    return [*lines, f"Deposit this one file: {made.packed}"]


def _told(made: "Archived", study: Path, private: bool) -> dict[str, Any]:
    return {
        "study": str(study),
        "private": private,
        "folder": str(made.folder),
        "zip": str(made.packed),
        "files": made.files,
        "not_rendered": list(made.missing),
        "notes": [{"code": note.code, "note": str(note)} for note in made.notes],
    }
