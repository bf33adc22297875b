"""Texts as a reader sees them: filled in, with moved numbers and open decisions in sight."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from trialkit.narrative.cells import is_narrative, read_notebook, source_of
from trialkit.narrative.facts import Facts
from trialkit.narrative.fill import Filled, expand_sentences, fill
from trialkit.narrative.merge import END, FIRST, SECOND
from trialkit.narrative.pieces import texts_of
from trialkit.narrative.stale import Moved, by_cell, marked, moved_in
from trialkit.narrative.state import State

_SEEN: Final = '<p class="stale"><strong>{}</strong></p>'
_VERSION_LINES: Final = (
    (FIRST, r"Two versions of this text wait for a decision. This one is \1:"),
    (SECOND, r"This one is \1:"),
    (END, "End of the two versions."),
)


@dataclass(frozen=True)
class Shown:
    """Texts by name as a reader sees them, and what was met on the way."""

    texts: Mapping[str, str]
    filled: Mapping[str, Filled]
    moved: tuple[Moved, ...]


def show(state: State, facts: Facts) -> Shown:
    """Fill in every text of a state."""
    filled = {name: fill(text, facts, name) for name, text in texts_of(state.story).items()}
    moved = moved_in(state, facts)
    return Shown(_in_sight(filled, moved), filled, moved)


def show_fixed(notebook: Mapping[str, Any], facts: Facts) -> dict[str, str]:
    """Fill in the Markdown cells that nobody edits, such as the cautions."""
    return {
        cell["id"]: fill(source_of(cell), facts).markdown
        for cell in notebook["cells"]
        if cell["cell_type"] == "markdown" and not is_narrative(cell)
    }


def with_sentences(executed: Mapping[str, Any], facts: Facts) -> dict[str, Any]:
    """The executed notebook with the default sentences in its Markdown cells."""
    cells = [
        {**cell, "source": expand_sentences(source_of(cell), facts)}
        if cell["cell_type"] == "markdown"
        else cell
        for cell in executed["cells"]
    ]
    return {**executed, "cells": cells}


def preview(notebook: Mapping[str, Any], facts: Facts) -> str:
    """The narrative of a notebook as it stands in its file, filled in."""
    read = read_notebook(notebook, ())
    written = read.written or State()
    filled = {name: fill(text, facts, name) for name, text in texts_of(read.story).items()}
    fixed = show_fixed(notebook, facts)
    shown = {**fixed, **_in_sight(filled, moved_in(written, facts))}
    return joined(notebook, shown)


def joined(notebook: Mapping[str, Any], texts: Mapping[str, str]) -> str:
    """Texts one after the other in the order of the notebook."""
    return "\n\n".join(texts[cell["id"]] for cell in notebook["cells"] if cell["id"] in texts)


def _in_sight(filled: Mapping[str, Filled], moved: Sequence[Moved]) -> dict[str, str]:
    marks = by_cell(moved)
    return {
        name: marked(_versions_in_sight(one.markdown), marks.get(name, ()))
        for name, one in filled.items()
    }


def _versions_in_sight(markdown: str) -> str:
    """The marker lines of two versions as a reader of the page should see them."""
    for line, words in _VERSION_LINES:
        pattern = re.escape(line).replace(r"\{\}", "(.+?)")
        markdown = re.sub(f"(?m)^{pattern}$", _SEEN.format(words), markdown)
    return markdown
