"""Pieces of a report's story in order: texts that people edit, and outputs that stay put."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

_NOT_IN_NAMES = re.compile(r"[^A-Za-z0-9_-]+")
LONGEST_NAME = 64


@dataclass(frozen=True)
class Piece:
    """A text of the narrative, or (``text`` None) a fixed point: a code cell with its output."""

    name: str
    text: str | None = None

    @property
    def is_text(self) -> bool:
        """True for a text that people may edit."""
        return self.text is not None


Story = tuple[Piece, ...]


def texts_of(story: Sequence[Piece]) -> dict[str, str]:
    """Texts by name, in order."""
    return {piece.name: piece.text for piece in story if piece.text is not None}


def names_of(story: Sequence[Piece]) -> list[str]:
    """Names in order, fixed points included."""
    return [piece.name for piece in story]


def tidy(text: str) -> str:
    """A text as it is compared and kept: line ends of one kind, no blank lines around it.

    >>> tidy("\\r\\nOne  \\r\\n\\r\\nTwo\\n\\n")
    'One  \\n\\nTwo'
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    while lines and not lines[0].strip():
        lines.pop(0)
    while lines and not lines[-1].strip():
        lines.pop()
    return "\n".join(lines)


def usable_name(given: str) -> str:
    """A name for a cell out of whatever was written: letters, digits, ``-`` and ``_``.

    >>> usable_name("My note, 2!")
    'My-note-2'
    """
    return _NOT_IN_NAMES.sub("-", given).strip("-")[:LONGEST_NAME] or "text"


def without_repeats(pieces: Iterable[Piece]) -> Story:
    """The same pieces; a name that was taken before gets a number, so that both texts are kept."""
    taken: set[str] = set()
    told = []
    for piece in pieces:
        name, number = piece.name, 2
        while name in taken:
            name = f"{piece.name[: LONGEST_NAME - 5]}-{number}"
            number += 1
        taken.add(name)
        told.append(Piece(name, piece.text))
    return tuple(told)
