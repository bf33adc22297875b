"""Offering safe corrections: one by one at a terminal, all at once with --yes, else only told."""

import getpass
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from trialkit.intake import Correction, StudyIntake
    from trialkit.study import Study

QUESTION = "Write this? [y]es, [n]o, [a]ll that follow, [s]top"


@dataclass(frozen=True)
class Mended:
    """Corrections that were offered, and those that were written."""

    offered: tuple["Correction", ...] = ()
    written: tuple["Correction", ...] = ()


def mended(
    study: "Study", found: "StudyIntake", *, yes: bool, by: str | None, quiet: bool
) -> Mended:
    """Offer what can be mended in one way only, and write what was agreed to."""
    from trialkit.intake import offered_corrections, write_corrections

    offered = offered_corrections(study, found)
    if yes:
        chosen: Sequence[Correction] = offered
    else:
        chosen = _agreed(offered) if at_a_terminal() and not quiet else ()
    if not chosen:
        return Mended(offered)
    who = by or (login_name() if yes else _asked_name())
    return Mended(offered, write_corrections(study, chosen, who=who, when=date.today()))


def at_a_terminal() -> bool:
    """Say whether somebody can answer."""
    return sys.stdin.isatty()


def login_name() -> str:
    """Name under which the person is logged in; a machine without one says so."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return "unknown"


def _asked_name() -> str:
    return str(typer.prompt("Who makes these corrections", default=login_name()))


def _agreed(offered: Sequence["Correction"]) -> list["Correction"]:
    """Ask about one after the other; no answer is no."""
    chosen: list[Correction] = []
    for number, line in enumerate(offered, 1):
        typer.echo(f"{number} of {len(offered)}: {offer_line(line)}")
        answer = str(typer.prompt(QUESTION, default="n")).strip().casefold()[:1]
        if answer == "a":
            return [*chosen, *offered[number - 1 :]]
        if answer == "s":
            return chosen
        if answer == "y":
            chosen.append(line)
    return chosen


def offer_line(line: "Correction") -> str:
    """Say what a correction does, at its place."""
    place = f"{line.file}:{line.row or ''}:{line.column}"
    if line.takes_row_out:
        return f"{place}: {line.why}; the row is left out ({line.was})."
    now = f"read as '{line.now}'" if line.now else "read as an empty cell"
    return f"{place}: '{line.was}' is {now} ({line.why})."


def mended_lines(done: Mended, study: "Study") -> Iterable[str]:
    """Say what was written, or what would be offered."""
    if not done.offered:
        yield "Nothing can be mended in one way only, so nothing is offered."
    elif done.written:
        many = f"{len(done.written)} correction{'' if len(done.written) == 1 else 's'}"
        yield f"Wrote {many} into {study.folder / 'corrections.csv'}; the sheets stay as they are:"
        yield from (f"  {offer_line(line)}" for line in done.written)
    elif at_a_terminal():
        yield "Nothing was written."
    else:
        yield "Nothing was written. These can be mended in one way only; --yes writes all of them:"
        yield from (f"  {offer_line(line)}" for line in done.offered)
