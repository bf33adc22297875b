"""Several things to show from one notebook cell, in order."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from trialkit.narrative.tables import Table, Words


@dataclass(frozen=True)
class Stack:
    """Words and tables one below the other."""

    parts: tuple[Words | Table, ...]

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Mapping[str, str]:
        return {
            "text/markdown": "\n\n".join(map(_markdown, self.parts)),
            "text/plain": "\n\n".join(map(_plain, self.parts)),
        }


def _markdown(part: Words | Table) -> str:
    return part.markdown if isinstance(part, Words) else part.to_html()


def _plain(part: Words | Table) -> str:
    return part.markdown if isinstance(part, Words) else part.to_text()


def bullets(sentences: "list[str] | tuple[str, ...]") -> str:
    """Sentences as a Markdown list."""
    return "\n".join(f"- {sentence}" for sentence in sentences)
