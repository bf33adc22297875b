"""Inline roles in MyST's form, ``{role}`content```, found in Markdown without running anything."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

# A code span or a role: as many backticks at the end as at the start, none of them escaped.
_SPAN: Final = re.compile(
    r"(?<![\\`])(?:(?<!\\)\{(?P<role>[a-z][a-z-]*)\})?(?P<ticks>`+)(?!`)"
    r"(?P<content>(?:(?!\n[ \t]*\n).)+?)(?<!`)(?P=ticks)(?!`)",
    re.DOTALL,
)
_FENCE: Final = re.compile(r"^ {0,3}(?P<fence>`{3,}|~{3,})")
_TARGET: Final = re.compile(r"^(?P<text>.*?)\s*<(?P<target>[^<>]*)>\s*$", re.DOTALL)
KNOWN: Final = ("eval", "claim", "sentences")


@dataclass(frozen=True)
class Role:
    """One role in a text: its name, what stands between the backticks, and where (a line from 1).

    ``source`` is the role as it is written.
    """

    name: str
    content: str
    line: int
    source: str = ""

    @property
    def target(self) -> str:
        """What stands in angle brackets at the end, empty where nothing does."""
        match = _TARGET.match(self.content)
        return " ".join(match["target"].split()) if match else ""

    @property
    def words(self) -> str:
        """The content without its target."""
        match = _TARGET.match(self.content)
        return match["text"] if match else self.content


def replace_roles(text: str, written: Callable[[Role], str]) -> str:
    """Return the text with every known role as ``written`` says it; code stays as it is."""

    def replaced(part: str, first_line: int) -> str:
        def one(match: re.Match[str]) -> str:
            if match["role"] not in KNOWN:
                return match[0]
            line = first_line + part.count("\n", 0, match.start())
            return written(Role(match["role"], match["content"].strip(), line, match[0]))

        return _SPAN.sub(one, part)

    return "".join(
        part if is_code else replaced(part, line) for part, line, is_code in _parts(text)
    )


def roles_in(text: str) -> list[Role]:
    """Every known role of a text, in order; roles inside a claim come after it."""
    found: list[Role] = []

    def note(role: Role) -> str:
        found.append(role)
        found.extend(roles_in(role.words) if role.name == "claim" else ())
        return ""

    replace_roles(text, note)
    return found


def _parts(text: str) -> Iterator[tuple[str, int, bool]]:
    """Pieces of a text with the line that each begins on, fenced code apart from the rest."""
    fence, part, start = "", "", 1
    for number, line in enumerate(text.splitlines(keepends=True), 1):
        match = _FENCE.match(line)
        opens = match is not None and not fence
        closes = bool(fence) and line.strip().startswith(fence) and not line.strip().strip(fence[0])
        if opens and match is not None:
            yield part, start, False
            fence, part, start = match["fence"], line, number
        elif closes:
            yield part + line, start, True
            fence, part, start = "", "", number + 1
        else:
            part += line
    yield part, start, bool(fence)
