"""A study folder and two reports folders in memory, with people who write and renders that die."""

import re
from dataclasses import dataclass, field
from typing import Any

from tests.narrative.facts_for_tests import BETTER, UNSETTLED, WORSE, facts_of
from trialkit.narrative.pieces import Piece
from trialkit.narrative.state import State, read_state
from trialkit.narrative.text_file import from_file, to_file
from trialkit.narrative.weave import Before, Woven, weave

PLACE = "2025/alder_bench"
WORD = re.compile(r"\bw\d+\b")
FACTS = (facts_of(BETTER, UNSETTLED), facts_of(WORSE, UNSETTLED), facts_of(UNSETTLED))
STEPS = 4


def code(name: str) -> dict[str, Any]:
    metadata = {"editable": False, "tags": ["preview"] if name == "preview" else []}
    return {"cell_type": "code", "id": name, "metadata": metadata, "source": f"{name}()",
            "outputs": [], "execution_count": 1}  # fmt: skip


def words_cell(name: str, text: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "id": name, "metadata": {"tags": ["narrative"]},
            "source": text}  # fmt: skip


@dataclass
class World:
    """All that is on the disk, and what the people know to have written."""

    template: list[Any] = field(
        default_factory=lambda: [
            ("open", None),
            ("found", "## Found"),
            ("findings", "{sentences}`findings`"),
            ("preview", None),
            ("meaning", "## Meaning"),
            ("results", None),
        ]
    )
    facts: int = 0
    state: bytes | None = None
    file: str | None = None
    notebooks: dict[str, dict[str, Any]] = field(default_factory=dict)
    seen_facts: dict[str, int] = field(default_factory=dict)
    counter: int = 0
    known: set[str] = field(default_factory=set)
    released: set[str] = field(default_factory=set)
    touched: set[str] = field(default_factory=set)

    def executed(self) -> dict[str, Any]:
        cells = [code(n) if text is None else words_cell(n, text) for n, text in self.template]
        return {"cells": cells, "metadata": {}, "nbformat": 4, "nbformat_minor": 5}

    def new_word(self) -> str:
        self.counter += 1
        return f"w{self.counter}"

    def new_name(self) -> str:
        self.counter += 1
        return f"own-{self.counter}"

    def render(self, out: str, writes: int = STEPS) -> Woven:
        """Render into one folder; the render is killed after this many writes."""
        before = Before(
            state=read_state(self.state, PLACE) if self.state else None,
            notebook=self.notebooks.get(out),
            called=out,
            file=self.file,
            facts=FACTS[self.seen_facts[out]] if out in self.seen_facts else None,
        )
        # Words in another notebook are that notebook's, until a render of it has got somewhere.
        self.known |= self.words_of(out) if writes else set()
        woven = weave(self.executed(), FACTS[self.facts], before, PLACE)
        if writes > 0:
            self.state = woven.state.to_bytes()
        if writes > 1:
            self.file = woven.file
        if writes > 2:
            self.notebooks[out], self.seen_facts[out] = woven.notebook, self.facts
        if writes > 3:
            self.state = woven.state.settled.to_bytes()
        return woven

    def words_of(self, out: str) -> set[str]:
        cells = self.notebooks.get(out, {"cells": []})["cells"]
        texts = [cell["source"] for cell in cells if cell["cell_type"] == "markdown"]
        return set(WORD.findall("\n".join([*texts, self.file or ""])))

    # --- what people do; every place is a list of pieces that they rewrite as they like --------

    def places(self) -> list[str]:
        return [*sorted(self.notebooks), *(["file"] if self.file is not None else [])]

    def read(self, place: str) -> list[Piece]:
        if place == "file":
            return list(from_file(self.file or ""))
        return [
            Piece(cell["id"], cell["source"] if cell["cell_type"] == "markdown" else None)
            for cell in self.notebooks[place]["cells"]
        ]

    def write(self, place: str, pieces: list[Piece]) -> None:
        gone = {w for p in self.read(place) if p.text for w in WORD.findall(p.text)}
        self.released |= gone - {w for p in pieces if p.text for w in WORD.findall(p.text)}
        if place == "file":
            self.file = to_file(pieces, PLACE)
            return
        cells = {cell["id"]: cell for cell in self.notebooks[place]["cells"]}
        self.notebooks[place] = {
            **self.notebooks[place],
            "cells": [
                cells[p.name] if p.text is None else words_cell(p.name, p.text) for p in pieces
            ],
        }

    def agreed(self) -> State:
        assert self.state is not None
        return read_state(self.state, PLACE)
