"""Commands that begin a study: the example, an empty one, a plan of the trial."""

import shutil
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from trialkit.cli.app import AsJson, Debug, Out, StudyFolder, Workers, app, print_json
from trialkit.cli.rendering import finish_render
from trialkit.errors import TrialkitError


@app.command()
def demo(
    folder: Annotated[
        Path | None,
        typer.Argument(help="Folder to copy the example study into; one copied before is kept."),
    ] = None,
    out: Out = Path("reports"),
    workers: Workers = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Copy the example study (invented data) and render every report of it."""
    from trialkit.batch import Request
    from trialkit.batch.resources import example_study
    from trialkit.study import STUDY_FILE

    example = example_study()
    place = folder or Path(example.name)
    if not (place / STUDY_FILE).is_file():
        if place.exists() and any(place.iterdir()):
            raise TrialkitError(
                f"{place}::: there is something here already. Choose a new or an empty folder."
            )
        shutil.copytree(example, place, dirs_exist_ok=True)
    typer.echo(f"The example study (invented data) is in {place}.", err=True)
    finish_render(Request(place, out=out, workers=workers), as_json)


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="A new or empty folder.")], debug: Debug = False
) -> None:
    """Start a study: study.toml with comments, and empty sheets."""
    from trialkit.intake import blank_tables
    from trialkit.study.fresh import start_study

    written = start_study(folder, date.today().year, blank_tables())
    typer.echo(f"Wrote {len(written)} files into {folder}:")
    for path in written:
        typer.echo(f"  {path}")
    typer.echo(
        f"Next: describe your trial in {written[0]}, fill in the sheets, then run\n"
        f"  trialkit check {folder}"
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
    from trialkit.report.plan import open_plan

    made = open_plan(study, today=date.today(), season=season, seed=seed)
    files = made.write_files(out or study / "plan")
    told = made.answers()
    if as_json:
        print_json({"study": str(study), "answers": told, "files": [str(path) for path in files]})
        return
    for line in told:
        typer.echo(line)
    typer.echo(
        f"{len(files)} files written; maps, labels, sheets, calendars: {out or study / 'plan'}"
    )
