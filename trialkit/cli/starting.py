"""Commands that begin a study: the example, and an empty one."""

import shutil
from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from trialkit.cli.app import AsJson, Debug, Out, Workers, app, print_lines
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
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A new or empty folder.")],
    workbook: Annotated[
        Path | None,
        typer.Option("--from", help="Draft the study from this workbook (xlsx, ods or csv)."),
    ] = None,
    season: Annotated[
        int | None, typer.Option(help="With --from: year of the season.", min=1900, max=2200)
    ] = None,
    site: Annotated[str | None, typer.Option(help="With --from: name of the site.")] = None,
    debug: Debug = False,
) -> None:
    """Start a study: study.toml with comments, and empty sheets."""
    from trialkit.intake import blank_tables
    from trialkit.study.fresh import start_study

    if workbook is not None:
        _new_from(workbook, folder, season, site)
        return
    if season or site:
        raise typer.BadParameter("--season and --site go with --from")
    written = start_study(folder, date.today().year, blank_tables())
    typer.echo(f"Wrote {len(written)} files into {folder}:")
    for path in written:
        typer.echo(f"  {path}")
    typer.echo(
        f"Next: describe your trial in {written[0]}, fill in the sheets, then run\n"
        f"  trialkit check {folder}"
    )


def _new_from(workbook: Path, folder: Path, season: int | None, site: str | None) -> None:
    """Draft a study from a workbook, and tell what was read as what."""
    from trialkit.intake import blank_tables, draft_study
    from trialkit.study.fresh import start_drafted_study, study_name

    name = study_name(folder.resolve().name)
    draft = draft_study(workbook, name, date.today().year, season, site)
    written = start_drafted_study(folder, draft.text, draft.files, blank_tables()["costs"])
    typer.echo(f"Drafted a study of season {draft.season} at {draft.site} from {workbook}:")
    print_lines(f"  {line}" for line in (*draft.told, *map(str, written)))
    typer.echo(
        f"Next: look at every line marked as a guess in {written[0]}, then run\n"
        f"  trialkit check {folder}"
    )
