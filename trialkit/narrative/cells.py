"""Narrative cells of a notebook: reading what people wrote, writing the agreed texts back.

A notebook is the plain dictionary of its file. What trialkit last wrote into it stands in the
notebook's own metadata, so that text and knowledge about the text are saved in one move.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from trialkit.narrative.pieces import Piece, Story, texts_of, tidy, usable_name, without_repeats
from trialkit.narrative.state import State, state_from

TAG: Final = "narrative"
OWN: Final = "trialkit"
PREVIEW: Final = "preview"
UNSEEN_ON_THE_PAGE: Final = "workbench"
_MARKUP: Final = ("markdown", "raw")


@dataclass(frozen=True)
class NotebookText:
    """What a rendered notebook holds.

    story   : texts and fixed points as they stand now.
    written : the state that trialkit last wrote here, None where the notebook does not say.
    strays  : names of texts that were code cells of a person's own.
    """

    story: Story
    written: State | None
    strays: tuple[str, ...] = ()


def template_story(notebook: Mapping[str, Any]) -> Story:
    """Narrative texts of a template, with every other cell as a fixed point."""
    return tuple(
        Piece(cell["id"], tidy(source_of(cell)) if is_narrative(cell) else None)
        for cell in notebook["cells"]
    )


def read_notebook(notebook: Mapping[str, Any], template: Story) -> NotebookText:
    """Read the texts of a rendered notebook.

    Every Markdown cell that is no fixed point of the template is narrative, tagged or not. A code
    cell of a person's own is kept as a text that shows the code: a render runs the template only.
    """
    written = _written(notebook.get("metadata", {}).get(OWN))
    # What was a text when it was written is one, whatever the template calls so today.
    own = texts_of(written.story) if written else {}
    known = (*template, *(written.story if written else ()))
    fixed = {piece.name for piece in known if not piece.is_text and piece.name not in own}
    pieces, strays = [], []
    for number, cell in enumerate(notebook["cells"]):
        name = usable_name(str(cell.get("id") or f"cell-{number}"))
        if name in fixed or _is_ours(cell):
            pieces.append(Piece(name))
        elif cell["cell_type"] in _MARKUP:
            pieces.append(Piece(name, tidy(source_of(cell))))
        elif source_of(cell).strip():
            pieces.append(Piece(name, f"```python\n{tidy(source_of(cell))}\n```"))
            strays.append(name)
    return NotebookText(without_repeats(pieces), written, tuple(strays))


def write_notebook(
    executed: Mapping[str, Any], state: State, before: Mapping[str, Any] | None
) -> dict[str, Any]:
    """Return the executed notebook with the agreed texts among its outputs.

    ``before`` is the notebook that people edited: pictures pasted into its cells are carried over.
    """
    outputs = {cell["id"]: cell for cell in executed["cells"] if not is_narrative(cell)}
    pasted = {cell.get("id"): cell.get("attachments") for cell in (before or {}).get("cells", ())}
    cells = [
        outputs[piece.name] if piece.text is None else _cell(piece, pasted.get(piece.name))
        for piece in state.story
    ]
    metadata = {**executed["metadata"], OWN: state.settled.to_dict()}
    return {**executed, "cells": cells, "metadata": metadata}


def page_notebook(notebook: Mapping[str, Any], texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the notebook as the page shows it: texts filled in, aids for the writer left out."""
    cells = [
        {**cell, "source": texts[cell["id"]]} if cell["id"] in texts else cell
        for cell in notebook["cells"]
        if UNSEEN_ON_THE_PAGE not in tags_of(cell)
    ]
    return {**notebook, "cells": cells}


def with_preview(notebook: Mapping[str, Any], texts: Mapping[str, str]) -> dict[str, Any]:
    """Return the notebook in which the cell tagged ``preview`` shows the texts filled in."""
    shown = "\n\n".join(texts[c["id"]] for c in notebook["cells"] if c["id"] in texts)
    cells = [
        {**cell, "outputs": [_markdown_output(shown, cell)]} if PREVIEW in tags_of(cell) else cell
        for cell in notebook["cells"]
    ]
    return {**notebook, "cells": cells}


def _markdown_output(text: str, cell: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "output_type": "execute_result",
        "execution_count": cell.get("execution_count"),
        "data": {"text/markdown": text, "text/plain": text},
        "metadata": {},
    }


def is_narrative(cell: Mapping[str, Any]) -> bool:
    """True for a cell that the template gives people to edit."""
    return TAG in tags_of(cell)


def tags_of(cell: Mapping[str, Any]) -> Sequence[str]:
    """Tags of a cell."""
    return tuple(cell.get("metadata", {}).get("tags", ()))


def source_of(cell: Mapping[str, Any]) -> str:
    """A cell's source as one text, however the file splits it."""
    source = cell["source"]
    return source if isinstance(source, str) else "".join(source)


def _is_ours(cell: Mapping[str, Any]) -> bool:
    """A code cell that papermill or the template made, whatever the template is called today."""
    metadata = cell.get("metadata", {})
    return cell["cell_type"] == "code" and metadata.get("editable") is False


def _written(told: Any) -> State | None:
    """The state in a notebook's metadata; a person's other tools may have taken it out."""
    try:
        return state_from(told)
    except (ValueError, KeyError, TypeError):
        return None


def _cell(piece: Piece, pasted: Any) -> dict[str, Any]:
    cell = {
        "cell_type": "markdown",
        "id": piece.name,
        "metadata": {"tags": [TAG]},
        "source": piece.text,
    }
    return {**cell, "attachments": pasted} if pasted else cell
