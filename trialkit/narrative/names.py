"""The flat list of names that a text may quote, and looking one up."""

import difflib
from dataclasses import dataclass
from typing import Final

from trialkit.errors import TrialkitError
from trialkit.narrative.facts import Facts
from trialkit.narrative.tables import Column, Table
from trialkit.narrative.values import FILTER_HELP, Value, filtered

NEAR: Final = 3
HEADINGS: Final = (Column("Write this"), Column("To say this"), Column("What it is"))


@dataclass(frozen=True)
class Lookup:
    """A value as quoted: by which name, and how it reads after its filters."""

    name: str
    value: Value

    @property
    def text(self) -> str:
        """The value as it is printed."""
        return self.value.text


def look_up(written: str, facts: Facts) -> Lookup:
    """Find what an ``{eval}`` role says, such as ``netting.flea_beetle_days.change|size``.

    Names and filters only: nothing is run. Raises TrialkitError that offers the nearest names.
    """
    name, *filters = (part.strip() for part in written.split("|"))
    if name not in facts.values:
        raise TrialkitError(f"there is no name '{name}'. {_offer(name, facts)}")
    value = facts.values[name]
    for one in filters:
        value = filtered(value, one)
    return Lookup(name, value)


def nearest(given: str, known: "list[str] | tuple[str, ...]", number: int = NEAR) -> list[str]:
    """Known words that are nearest to a misspelt one."""
    return difflib.get_close_matches(given, known, number, 0.5)


def names_table(facts: Facts) -> Table:
    """Every name with its present value, ready to copy into the text."""
    rows = [(f"{{eval}}`{name}`", one.text, one.about) for name, one in facts.values.items()]
    filters = "; ".join(f"|{name} {meaning}" for name, meaning in FILTER_HELP.items())
    return Table.of(
        f"Names that a text may quote. After a name may stand: {filters}.", HEADINGS, rows
    )


def _offer(name: str, facts: Facts) -> str:
    known = list(facts.values)
    stem = name.rpartition(".")[0]
    same_stem = [one for one in known if stem and one.startswith(f"{stem}.")]
    near = nearest(name, same_stem) or nearest(name, known)
    if near:
        return f"Nearest are: {', '.join(near)}"
    return "The last cell of the notebook lists every name"
