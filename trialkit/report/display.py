"""Several things to show from one notebook cell, in order."""

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from trialkit.narrative.tables import Table, Words

LONGEST: Final = 12  # rows or lines that are shown unfolded


@dataclass(frozen=True)
class Fold:
    """Words and tables that stand folded away under a line that says what they are."""

    title: str
    parts: tuple[Words | Table, ...]

    @property
    def markdown(self) -> str:
        """Markdown whose inside is still read as Markdown, thanks to the blank lines."""
        inside = "\n\n".join(map(_markdown, self.parts))
        summary = f"<summary>{html.escape(self.title)}</summary>"
        return f"<details>\n{summary}\n\n{inside}\n\n</details>"


Part = Words | Table | Fold


@dataclass(frozen=True)
class Stack:
    """Words, tables and folds one below the other."""

    parts: tuple[Part, ...]

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Mapping[str, str]:
        return {
            "text/markdown": "\n\n".join(map(_markdown, self.parts)),
            "text/plain": "\n\n".join(map(_plain, self.parts)),
        }


@dataclass(frozen=True)
class Several:
    """Figures, tables and words that one cell shows one after the other, each an output."""

    parts: tuple[Any, ...]

    def _ipython_display_(self) -> None:
        from IPython.display import display

        for part in self.parts:
            display(part)


def _markdown(part: Part) -> str:
    return part.to_html() if isinstance(part, Table) else part.markdown


def _plain(part: Part) -> str:
    if isinstance(part, Fold):
        return "\n\n".join([part.title, *map(_plain, part.parts)])
    return part.markdown if isinstance(part, Words) else part.to_text()


def folded_if_long(table: Table, longest: int = LONGEST) -> Table | Fold:
    """The table itself, or folded away with its number of rows where it has too many to lead."""
    if len(table.rows) <= longest:
        return table
    return Fold(f"{table.caption} ({len(table.rows)} rows)", (table,))


def bullets(sentences: "list[str] | tuple[str, ...]") -> str:
    """Sentences as a Markdown list."""
    return "\n".join(f"- {sentence}" for sentence in sentences)
