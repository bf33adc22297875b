"""Commands that begin a study: the example, and an empty one."""

import shutil
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from trialkit.cli.app import AsJson, Debug, Out, Workers, app
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
