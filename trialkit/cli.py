"""The command line: reads what was asked, calls one thing, prints what it says.

Heavy rooms are imported inside the commands, so that help and faults come at once.
"""

import json
import shutil
import sys
import traceback
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer
from rich.console import Console
from rich.table import Table

from trialkit.errors import TrialkitError

if TYPE_CHECKING:
    from trialkit.batch import Request

DONE, AT_FAULT, WRONG_USAGE, UNSUPPORTED, INTERRUPTED = 0, 1, 2, 3, 130

app = typer.Typer(
    help="From field sheets to honest reports on replicated vegetable-pest trials.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)

StudyFolder = Annotated[Path, typer.Argument(metavar="STUDY", help="Folder that holds study.toml.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the same as JSON.")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of a fault.")]
Out = Annotated[Path, typer.Option("--out", help="Folder of the reports of all studies.")]
Workers = Annotated[
    int | None, typer.Option("--workers", min=1, help="Reports at a time (default: one per core).")
]


def main() -> None:
    """Run the command line; every fault is told in words, and a traceback only with --debug."""
    try:
        app()
    except TrialkitError as error:
        tell_faults(str(error).splitlines())
        leave(AT_FAULT)
    except KeyboardInterrupt:
        tell_faults(["stopped; reports that were done are kept."])
        leave(INTERRUPTED)
    except Exception as error:
        told = f"trialkit itself failed: {type(error).__name__}: {error}. "
        tell_faults([f"{told}Run the command again with --debug and report what it shows."])
        leave(AT_FAULT)


def leave(status: int) -> None:
    """End with an exit status; with --debug the traceback of the fault at hand comes first."""
    if "--debug" in sys.argv:
        traceback.print_exc()
    raise SystemExit(status)


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
    across: Annotated[bool, typer.Option("--across", help="Only the report across all.")] = False,
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
    edition: Annotated[Literal["cooperator", "public", "funder"], typer.Option()],
    out: Out = Path("reports"),
    workers: Workers = None,
    debug: Debug = False,
) -> None:
    """Write the pages to hand out, with names taken out, and their index page."""
    from trialkit.batch import share as sharing
    from trialkit.batch.progress import watching

    with watching(Console(stderr=True)) as watcher:
        made = sharing.share(sharing.Request(study, out, workers=workers), edition, watcher)
        print_lines(f"Hand out the whole folder of {path}" for path in made)


@app.command()
def analyze(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A tidy CSV file, one row a plot.")],
    response: Annotated[str, typer.Option(help="Column of the response.")],
    treatment: Annotated[str, typer.Option(help="Column of the treatment.")],
    block: Annotated[str | None, typer.Option(help="Column of the block.")] = None,
    row: Annotated[str | None, typer.Option(help="Row of a Latin square.")] = None,
    column: Annotated[str | None, typer.Option(help="Column of a Latin square.")] = None,
    whole_plot: Annotated[str | None, typer.Option(help="Factor laid on whole plots.")] = None,
    environment: Annotated[str | None, typer.Option(help="Column of the site-season.")] = None,
    family: Annotated[
        str, typer.Option(help="normal, lognormal, count, proportion or ordinal.")
    ] = "normal",
    trials: Annotated[str | None, typer.Option(help="Out of how many (proportion).")] = None,
    exposure: Annotated[str | None, typer.Option(help="Plants or area looked at (count).")] = None,
    control: Annotated[str | None, typer.Option(help="Label of the untreated check.")] = None,
    adjust: Annotated[str | None, typer.Option(help="dunnett, tukey, holm or none.")] = None,
    level: Annotated[float, typer.Option(help="Confidence level.")] = 0.95,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Analyse one tidy table without a study: means, contrasts, tests."""
    from trialkit.inference import analyze as analysed

    found = analysed(
        read_table(file), response=response, treatment=treatment, block=block, row=row,
        column=column, whole_plot=whole_plot, environment=environment, family=family,
        trials=trials, exposure=exposure, control=control, adjust=adjust, level=level,
    ).to_dict()  # fmt: skip
    if as_json:
        print_json(found)
    else:
        print_analysis(found)


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


def check_tally(read: int, faults: Iterable[Any]) -> str:
    """Say how many site-seasons were read, and how many faults of each kind there are."""
    count = dict.fromkeys(("error", "question", "note"), 0)
    for fault in faults:
        count[fault.severity] += 1
    words = [f"{n} {kind}{'' if n == 1 else 's'}" for kind, n in count.items()]
    return f"{read} site-season{'' if read == 1 else 's'} read: {', '.join(words)}."


def read_table(file: Path) -> Any:
    """Read a tidy CSV file into a frame; raises TrialkitError in words."""
    import pandas as pd

    try:
        return pd.read_csv(file)
    except FileNotFoundError:
        raise TrialkitError(
            f"{file}::: there is no such file. Check its name and folder."
        ) from None
    except (OSError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as error:
        raise TrialkitError(
            f"{file}::: it cannot be read as a CSV file ({error}). Save it as CSV in UTF-8."
        ) from None


def print_analysis(found: Mapping[str, Any]) -> None:
    """Print an analysis as tables to read."""
    console = Console(soft_wrap=True) if sys.stdout.isatty() else Console(width=160)
    used, rows = found["data"]["used"], found["data"]["rows"]
    console.print(f"{found['model']['method']}. {used} of {rows} rows used.", highlight=False)
    for dropped in found["data"]["dropped"]:
        console.print(f"Row {dropped['row']} left out: {dropped['reason']}", highlight=False)
    for title in ("tests", "means", "contrasts", "effect_sizes"):
        if found[title]:
            console.print(table_of(title.replace("_", " ").capitalize(), found[title]))
    for note in found["model"]["notes"]:
        console.print(f"- {note}", markup=False, highlight=False)


def table_of(title: str, rows: list[dict[str, Any]]) -> Table:
    """Return records as a table; a column that is empty throughout is left out."""
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, header_style="bold")
    names = [name for name in rows[0] if any(row[name] is not None for row in rows)]
    for name in names:
        numeric = any(isinstance(row[name], int | float) for row in rows)
        table.add_column(name, justify="right" if numeric else "left")
    for row in rows:
        table.add_row(*(shown(row[name]) for name in names))
    return table


def shown(value: Any) -> str:
    """Return a value to read: four significant digits, nothing for what is unknown."""
    if value is None:
        return ""
    return f"{value:.4g}" if isinstance(value, float) else str(value)


def print_json(content: Any) -> None:
    """Print plain data as JSON on stdout."""
    typer.echo(json.dumps(content, indent=1, ensure_ascii=False))


def print_lines(lines: Iterable[str]) -> None:
    """Print lines on stdout."""
    for line in lines:
        typer.echo(line)


def tell_faults(faults: Iterable[str]) -> None:
    """Print faults to stderr, one a line."""
    for fault in faults:
        typer.echo(fault, err=True)


if __name__ == "__main__":
    main()
