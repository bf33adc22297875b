"""The command that plans a trial: layout, map, sheets, calendar, and how much is enough."""

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from trialkit.cli.app import (
    AT_FAULT,
    AsJson,
    Debug,
    StudyFolder,
    app,
    print_json,
    print_lines,
    tell_faults,
)


@app.command()
def plan(
    study: StudyFolder,
    season: Annotated[int | None, typer.Option(help="Only this season.")] = None,
    seed: Annotated[int | None, typer.Option(help="Draw layouts anew from this seed.")] = None,
    out: Annotated[
        Path | None, typer.Option("--out", help="Folder for the papers (default: STUDY/plan).")
    ] = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Randomise, draw the plot map, write sheets and calendar, answer how much is enough."""
    from trialkit.batch.plan_page import render_plan
    from trialkit.report.plan import open_plan

    folder, today = out or study / "plan", date.today()
    made = open_plan(study, today=today, season=season, seed=seed)
    files, told = made.write_files(folder), made.answers()
    asked = {"season": season or 0, "site": "", "today": today.isoformat()}
    files = (*files, *render_plan(made.study, asked, folder))
    faults = [str(fault) for fault in made.plan.faults]
    tell_faults(faults)
    if as_json:
        paths = [str(path) for path in files]
        print_json({"study": str(study), "answers": told, "faults": faults, "files": paths})
    else:
        print_lines([*told, f"{len(files)} files written; all is told in {folder / 'plan.html'}"])
    if any(fault.severity == "error" for fault in made.plan.faults):
        raise typer.Exit(AT_FAULT)
