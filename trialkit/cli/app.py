"""The application that the commands hang on, the options they share, and how they print."""

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

DONE, AT_FAULT, WRONG_USAGE, UNSUPPORTED, INTERRUPTED = 0, 1, 2, 3, 130

IN_ORDER_OF_USE = (
    ["demo", "new", "plan", "check", "render", "confirm", "changes", "share", "archive", "analyze"]
)  # fmt: skip


class OrderOfUse(TyperGroup):
    """Lists the commands in the order in which a study meets them."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Return the names of the commands; one that has no place yet comes last."""
        names = super().list_commands(ctx)
        return sorted(names, key=lambda name: [*IN_ORDER_OF_USE, name].index(name))


app = typer.Typer(
    cls=OrderOfUse,
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
