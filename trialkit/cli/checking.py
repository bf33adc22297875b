"""The command that reads everything and lists every problem."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

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
    tell_faults,
)


@app.command()
def check(
    study: StudyFolder, out: Out = Path("reports"), as_json: AsJson = False, debug: Debug = False
) -> None:
    """Read everything, list every problem, render nothing."""
    from dataclasses import asdict

    from trialkit.batch.check_words import typed_numbers
    from trialkit.intake import check_study
    from trialkit.study import read_study

    described = read_study(study)
    found = check_study(described)
    faults = (*found.faults, *typed_numbers(described, out / described.name))
    if as_json:
        print_json({"study": str(study), "faults": [asdict(fault) for fault in faults]})
    else:
        tell_faults(map(str, faults))
        typer.echo(check_tally(len(found.site_seasons), faults))
    raise typer.Exit(AT_FAULT if found.errors else DONE)


def check_tally(read: int, faults: Iterable[Any]) -> str:
    """Say how many site-seasons were read, and how many faults of each kind there are."""
    count = dict.fromkeys(("error", "question", "note"), 0)
    for fault in faults:
        count[fault.severity] += 1
    words = [f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in count.items()]
    return f"{read} site-season{'' if read == 1 else 's'} read: {', '.join(words)}."
