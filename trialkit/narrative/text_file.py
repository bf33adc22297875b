"""The narrative as one text file, to be edited directly and reviewed in a diff.

A marker line stands above each text and names it; another kind of marker shows where the notebook
puts an output. A person may edit, add, delete, split and move the texts; outputs stay put::

    <!-- text: found -->

    ## What was found

    <!-- output: effects -->
"""

import hashlib
import re
from collections.abc import Sequence
from typing import Final

from trialkit.narrative.pieces import Piece, Story, tidy, usable_name, without_repeats

_MARKER: Final = re.compile(r"^\s*<!--\s*(?P<kind>text|output)\s*:\s*(?P<name>.*?)\s*-->\s*$")
_ABOUT: Final = re.compile(r"^\s*<!--\s*about this file\b.*-->\s*$")
# A line of a person's own text that looks like a marker is kept apart from one by a backslash.
_LOOKS_LIKE: Final = re.compile(
    r"^(?P<slashes>\\*)(?P<rest>\s*<!--\s*(?:text|output|about this)\b)"
)
ABOUT: Final = (
    "<!-- about this file: the words of the report {place}. Edit, add, move or delete texts; keep "
    "the marker above each. Outputs only show where the notebook puts its tables and figures. -->"
)


def to_file(story: Sequence[Piece], place: str) -> str:
    """Return the file's content; ``place`` names the report, such as ``2025/alder_bench``."""
    parts = [ABOUT.format(place=place)]
    for piece in story:
        if piece.text is None:
            parts.append(f"<!-- output: {piece.name} -->")
        else:
            parts.append(f"<!-- text: {piece.name} -->")
            parts.append(_guarded(piece.text))
    return "\n\n".join(part for part in parts if part) + "\n"


def from_file(content: str) -> Story:
    """Read the pieces back; a text without a marker gets a name from its own content."""
    pieces: list[Piece] = []
    name, lines = "", []
    for line in tidy(content).split("\n"):
        marker = _MARKER.match(line)
        if not marker:
            lines += [] if _ABOUT.match(line) else [line]
            continue
        pieces += _text_piece(name, lines)
        name, lines = "", []
        if marker["kind"] == "output":
            pieces.append(Piece(usable_name(marker["name"])))
        else:
            name = usable_name(marker["name"])
    return without_repeats([*pieces, *_text_piece(name, lines)])


def line_of(content: str, name: str) -> int:
    """Line (from 1) of the marker of a text, 0 where it has none."""
    for number, line in enumerate(content.split("\n"), 1):
        marker = _MARKER.match(line)
        if marker and marker["kind"] == "text" and usable_name(marker["name"]) == name:
            return number
    return 0


def _text_piece(name: str, lines: list[str]) -> list[Piece]:
    """The text collected under one marker; words that stand under none are kept as well."""
    text = tidy("\n".join(_unguarded(line) for line in lines))
    if not name and not text:
        return []
    return [Piece(name or f"text-{hashlib.sha256(text.encode()).hexdigest()[:8]}", text)]


def _guarded(text: str) -> str:
    return "\n".join(
        f"\\{line}" if _LOOKS_LIKE.match(line) else line for line in tidy(text).split("\n")
    )


def _unguarded(line: str) -> str:
    match = _LOOKS_LIKE.match(line)
    return line[1:] if match and match["slashes"] else line
