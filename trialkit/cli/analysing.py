"""The command that analyses one tidy table without a study."""

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.table import Table

from trialkit.cli.app import AsJson, Debug, app, print_json
from trialkit.errors import TrialkitError


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
    site: Annotated[
        str | None, typer.Option(help="Column of the site; with --season it makes the site-season.")
    ] = None,
    season: Annotated[str | None, typer.Option(help="Column of the season.")] = None,
    as_json: AsJson = False,
    debug: Debug = False,
) -> None:
    """Analyse one tidy table without a study: means, contrasts, tests."""
    from trialkit.inference import analyze as analysed

    found = analysed(
        read_table(file), response=response, treatment=treatment, block=block, row=row,
        column=column, whole_plot=whole_plot, environment=environment, family=family,
        trials=trials, exposure=exposure, control=control, adjust=adjust, level=level,
        site=site, season=season,
    ).to_dict()  # fmt: skip
    if as_json:
        print_json(found)
    else:
        print_analysis(found)


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
    for kind, tables in found.get("further", {}).items():
        for title, rows in tables.items():
            console.print(table_of(f"{title.capitalize()} of {kind.replace('_', ' ')}s", rows))
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
