"""Commands about reports: render them, confirm texts, tell changes, hand out editions."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

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
    from trialkit.batch import Request


@app.command()
def render(
    study: StudyFolder,
    season: Annotated[int | None, typer.Option(help="Only this season.")] = None,
    site: Annotated[str | None, typer.Option(help="Only this site.")] = None,
    out: Out = Path("reports"),
    workers: Workers = None,
    force: Annotated[bool, typer.Option("--force", help="Render what is not due, too.")] = False,
    why: Annotated[
        bool, typer.Option("--why", help="Say why each report is due or not; render nothing.")
    ] = False,
    timeout: Annotated[
        float, typer.Option(min=1, help="Seconds that one step of a report may take.")
    ] = 600,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a dask cluster that does the work.")
    ] = None,
    profile: Annotated[
        bool, typer.Option("--profile", help="List where the time of the last renders went.")
    ] = False,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Bring every report that is out of date up to date."""
    if not (why or scheduler) and (force or not any(out.glob("*/index.html"))):
        load_ahead()
    from trialkit.batch import Request

    request = Request(study, out, season, site, force, workers, timeout, scheduler=scheduler)
    if why:
        tell_why(request, as_json)
    else:
        finish_render(request, as_json, profile)


@app.command()
def confirm(
    study: StudyFolder,
    season: Annotated[int | None, typer.Option(help="Only this season.")] = None,
    site: Annotated[str | None, typer.Option(help="Only this site.")] = None,
    across: Annotated[
        bool, typer.Option("--across", help="Only those on the whole study.")
    ] = False,
    text: Annotated[
        list[str] | None, typer.Option(help="Only this text, by the name in its marker.")
    ] = None,
    out: Out = Path("reports"),
    debug: Debug = False,
) -> None:
    """Say that edited texts still fit the numbers that moved since they were written."""
    from trialkit.batch import chosen_targets, confirm_words
    from trialkit.study import read_study

    described = read_study(study)
    count = 0
    for target in chosen_targets(described, season, site, across):
        reports = out / described.name
        for name in confirm_words(target, described.folder, reports, tuple(text or ())):
            typer.echo(f"{target.title}: {name} is confirmed.")
            count += 1
    render_next = f" Next: trialkit render {study}" if count else ""
    typer.echo(f"{count} text{'' if count == 1 else 's'} confirmed.{render_next}")


@app.command()
def changes(
    study: StudyFolder, out: Out = Path("reports"), as_json: AsJson = False, debug: Debug = False
) -> None:
    """Tell which findings moved since the render before, and what moved them."""
    from trialkit.batch import change_lines, changes_dict, changes_of, chosen_targets
    from trialkit.study import read_study

    described = read_study(study)
    targets = chosen_targets(described, None, None, False)
    found = [one for t in targets if (one := changes_of(t, out / described.name)) is not None]
    if as_json:
        print_json([changes_dict(one) for one in found])
        return
    for one in found:
        typer.echo("\n".join(change_lines(one)))
    if not found:
        typer.echo("No report was rendered twice yet, so there is nothing to compare.")


@app.command()
def share(
    study: StudyFolder,
    edition: Annotated[
        Literal["cooperator", "public", "funder"],
        typer.Option(help="Whom the pages are for."),
    ],
    out: Out = Path("reports"),
    workers: Workers = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Write the pages to hand out, with names taken out, and their index page."""
    from trialkit.batch import share as sharing
    from trialkit.batch.progress import watching

    with watching(Console(stderr=True)) as watcher:
        made = sharing.share(sharing.Request(study, out, workers=workers), edition, watcher)
    if as_json:
        print_json({"study": str(study), "edition": edition, "pages": [str(path) for path in made]})
    else:
        print_lines(f"Hand out the whole folder of {path}" for path in made)


def load_ahead() -> None:
    """Let what renders load on another core while this process still loads what reads the study.

    For where there is much to render; whether anything is due is only known once the study is read.
    """
    from trialkit.batch import warm_server

    if warm_server.available():
        warm_server.start()


def finish_render(request: "Request", as_json: bool, profile: bool = False) -> None:
    """Render with progress on stderr, tell what came of it, end with the exit status."""
    from trialkit.batch import render as rendered
    from trialkit.batch import telling
    from trialkit.batch.progress import watching

    with watching(Console(stderr=True)) as watcher:
        summary = rendered(request, watcher)
    tell_faults(telling.fault_lines(summary, request.study))
    if as_json:
        print_json(telling.summary_data(summary))
    else:
        print_lines(telling.summary_lines(summary))
        print_lines(telling.profile_lines(summary, request) if profile else ())
    if summary.failed or summary.undecided:
        raise typer.Exit(AT_FAULT)
    raise typer.Exit(UNSUPPORTED if summary.unsupported else DONE)


def tell_why(request: "Request", as_json: bool) -> None:
    """Say of each report whether it is due, and why."""
    from trialkit.batch import survey
    from trialkit.batch.telling import why_lines

    found = survey(request)
    if as_json:
        print_json([{"report": s.target.key, "due": s.is_due, "why": s.reasons} for s in found])
    else:
        print_lines(why_lines(found))
