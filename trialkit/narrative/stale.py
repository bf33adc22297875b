"""Numbers that moved since a person wrote the text around them."""

import html
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from trialkit.errors import TrialkitError
from trialkit.narrative.facts import Facts
from trialkit.narrative.names import look_up
from trialkit.narrative.roles import roles_in
from trialkit.narrative.state import Quoted, State

_DIGITS: Final = re.compile(r"\d[\d,]*(?:\.(?P<decimals>\d+))?")
HEADING: Final = "Numbers changed since this was written."


@dataclass(frozen=True)
class Moved:
    """A quoted value that moved: what the writer saw, what it is now."""

    cell: str
    name: str
    before: str
    now: str


def quoted_in(text: str, facts: Facts, before: Facts | None = None) -> dict[str, Quoted]:
    """Values that a text quotes, as the writer saw them.

    ``before`` holds the facts of the report that the writer had at hand, where there was one.
    Names that nobody knows are left to the filling to tell of.
    """
    found = {}
    for role in roles_in(text):
        if role.name != "eval":
            continue
        for known in (before, facts):
            quoted = _quoted(role.content, known)
            if quoted is not None:
                found[role.content] = quoted
                break
    return found


def moved_in(state: State, facts: Facts) -> tuple[Moved, ...]:
    """Every value that moved by more than its rounding under a person's own words."""
    return tuple(
        Moved(one.name, name, quoted.text, now.text)
        for one in state.texts
        if one.by_person and not one.deleted
        for name, quoted in one.quoted.items()
        if (now := _quoted(name, facts)) is not None and has_moved(quoted, now)
    )


def has_moved(before: Quoted, now: Quoted) -> bool:
    """Say whether a value moved by more than half a unit of its last printed digit.

    >>> has_moved(Quoted("62 % lower", -62.49), Quoted("63 % lower", -62.51))
    False
    >>> has_moved(Quoted("62 % lower", -62.0), Quoted("55 % lower", -55.0))
    True
    """
    if before.text == now.text:
        return False
    if before.number is None or now.number is None:
        return True
    return not abs(before.number - now.number) <= _half_unit(now.text)


def confirmed(state: State, facts: Facts, cells: Iterable[str] = ()) -> State:
    """The state after a person said that the words still fit the numbers as they are now.

    ``cells`` names the texts meant, all of them when it is empty. Raises TrialkitError for a text
    that is not there or that nobody edited.
    """
    own = {one.name for one in state.texts if one.by_person and not one.deleted}
    chosen = set(cells) or own
    unknown = sorted(chosen - own)
    if unknown:
        raise TrialkitError(
            f"There is no edited text '{unknown[0]}'. Edited texts are: "
            f"{', '.join(sorted(own)) or 'none'}."
        )
    quoted = {one.name: quoted_in(one.text, facts) for one in state.texts if one.name in chosen}
    return state.with_quoted(quoted)


def marked(markdown: str, moved: Iterable[Moved]) -> str:
    """A text with its moved numbers, old and new side by side, in a block under its heading."""
    lines = [
        f"<li>{_plain(one.name)}: {_plain(one.before)} then, <strong>{_plain(one.now)}</strong> "
        "now</li>"
        for one in moved
    ]
    if not lines:
        return markdown
    listed = "\n".join(lines)
    block = (
        f'<div class="stale" role="note">\n<p><strong>{HEADING}</strong></p>\n'
        f"<ul>\n{listed}\n</ul>\n</div>"
    )
    first, _, rest = markdown.partition("\n")
    parts = [first, block, rest] if first.startswith("#") else [block, markdown]
    return "\n\n".join(part for part in parts if part.strip())


def by_cell(moved: Iterable[Moved]) -> Mapping[str, list[Moved]]:
    """Moved values under the text that quotes them."""
    grouped: dict[str, list[Moved]] = {}
    for one in moved:
        grouped.setdefault(one.cell, []).append(one)
    return grouped


def _quoted(written: str, facts: Facts | None) -> Quoted | None:
    if facts is None:
        return None
    try:
        found = look_up(written, facts)
    except TrialkitError:  # told of by the filling, with the place
        return None
    return Quoted(found.text, found.value.number)


def _half_unit(text: str) -> float:
    match = _DIGITS.search(text)
    decimals = len(match["decimals"] or "") if match else 0
    return 0.5 * 10.0**-decimals


def _plain(text: str) -> str:
    return html.escape(text, quote=False)
