"""An executed notebook read as a page: sections under headings, blocks in order, code set apart."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from trialkit.errors import TrialkitError
from trialkit.publish.clean import HeadingOrder, clean_html, markdown_to_html, text_to_html

BlockKind = Literal["words", "table", "figure", "fault"]
_PICTURES = ("image/png", "image/svg+xml", "image/jpeg")
_SECTION = re.compile(r"\s*##[ \t]+(?P<title>[^\n#].*?)[ \t#]*(?:\n|\Z)(?P<rest>.*)\Z", re.DOTALL)
_TITLE = re.compile(r"\s*#[ \t]+[^\n]*\n?")
_LABEL = "<p><strong>Invented data.</strong>"
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")


@dataclass(frozen=True)
class Block:
    """One thing to see: words, a table, a figure with its alternative text, or a fault."""

    kind: BlockKind
    markup: str = ""
    source: str = ""
    alternative: str = ""
    caption: str = ""
    width: int = 0
    height: int = 0


@dataclass
class Section:
    """A part of the page under one heading; ``place`` is its part in the layout, if it has one."""

    title: str
    key: str
    place: str = ""
    blocks: list[Block] = field(default_factory=list)


@dataclass(frozen=True)
class Listing:
    """The code of one cell, as it was run."""

    number: int
    source: str


def sections_of(notebook: Mapping[str, Any]) -> tuple[Section, ...]:
    """Return the sections of an executed notebook; a second-level heading opens a section.

    The notebook's own first-level heading is left out: the page has its title from the study.
    """
    order = HeadingOrder(deepest=2)
    sections = [Section("", "top")]
    for cell in notebook["cells"]:
        if _is_heading(cell):
            continue
        if cell["cell_type"] == "markdown":
            _add_words(sections, cell["source"], order)
        else:
            sections[-1].blocks.extend(_outputs(cell, order))
    return tuple(section for section in sections if section.title or section.blocks)


def masthead_of(notebook: Mapping[str, Any]) -> str:
    """Return what the cell tagged ``heading`` shows, as clean HTML; empty when there is none."""
    for cell in notebook["cells"]:
        for output in cell.get("outputs", ()) if _is_heading(cell) else ():
            if "text/markdown" in output.get("data", {}):
                words = markdown_to_html(_joined(output["data"]["text/markdown"]))
                return words.replace(_LABEL, f'<p class="invented">{_LABEL[3:]}', 1)
    return ""


def _is_heading(cell: Mapping[str, Any]) -> bool:
    shows_faults = any(output["output_type"] == "error" for output in cell.get("outputs", ()))
    return "heading" in cell["metadata"].get("tags", ()) and not shows_faults


def listings_of(notebook: Mapping[str, Any]) -> tuple[Listing, ...]:
    """Return the code of the notebook in the order in which it was run."""
    cells = (cell for cell in notebook["cells"] if cell["cell_type"] == "code")
    return tuple(Listing(n, cell["source"]) for n, cell in enumerate(cells, 1) if cell["source"])


def _add_words(sections: list[Section], source: str, order: HeadingOrder) -> None:
    source = _TITLE.sub("", source, count=1) if _TITLE.match(source) else source
    opening = _SECTION.match(source)
    if opening:
        title = opening.group("title").strip()
        sections.append(Section(title, _key(title, sections)))
        source = opening.group("rest")
    if source.strip():
        sections[-1].blocks.append(Block("words", order.apply(markdown_to_html(source), top=3)))


def _key(title: str, sections: list[Section]) -> str:
    words = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "part"
    taken = {section.key for section in sections}
    return words if words not in taken else f"{words}-{len(sections)}"


def _outputs(cell: Mapping[str, Any], order: HeadingOrder) -> Iterator[Block]:
    for output in cell.get("outputs", ()):
        kind = output["output_type"]
        if kind == "error":
            told = f"{output['ename']}: {output['evalue']}"
            yield Block("fault", text_to_html(_COLOURS.sub("", told)))
        elif kind == "stream":
            yield Block("words", text_to_html(_COLOURS.sub("", _joined(output["text"]))))
        else:
            yield _shown(output["data"], output.get("metadata", {}), order)


def _shown(data: Mapping[str, Any], metadata: Mapping[str, Any], order: HeadingOrder) -> Block:
    picture = next((kind for kind in _PICTURES if kind in data), None)
    if picture:
        return _figure(picture, _joined(data[picture]), metadata)
    if "text/html" in data:
        markup = order.apply(clean_html(_joined(data["text/html"])), top=3)
        return Block("table" if "<table" in markup else "words", markup)
    if "text/markdown" in data:
        words = markdown_to_html(_joined(data["text/markdown"]))
        return Block("words", order.apply(words, top=3))
    return Block("words", text_to_html(_joined(data.get("text/plain", ""))))


def _figure(kind: str, picture: str, metadata: Mapping[str, Any]) -> Block:
    about = metadata.get(kind, {})
    if not about.get("alt"):
        raise TrialkitError(
            "A figure has no alternative text, so the page was not written. "
            "Give the figure an alternative text that states what it shows."
        )
    return Block(
        "figure",
        source=_data_uri(kind, picture),
        alternative=str(about["alt"]),
        caption=str(about.get("caption", "")),
        width=int(about.get("width", 0)),
        height=int(about.get("height", 0)),
    )


def _data_uri(kind: str, picture: str) -> str:
    if kind == "image/svg+xml":
        # An SVG inside <img> runs no script and loads nothing; percent-encoding needs no base64.
        from urllib.parse import quote

        return f"data:{kind};charset=utf-8,{quote(picture)}"
    return f"data:{kind};base64,{''.join(picture.split())}"


def _joined(text: Any) -> str:
    return text if isinstance(text, str) else "".join(text)
