"""Tables to read: caption, header scopes, aligned decimals, the same bytes every time."""

import html
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

FIGURE_SPACE: Final = "\u2007"
PUNCTUATION_SPACE: Final = "\u2008"
_SPEAKS_TO_MARKDOWN: Final = re.compile(r"[\\`*_{}\[\]<>()#|~^$!&]")
_WHOLE: Final = re.compile(r"[\d,]+")
_AS_WIDE: Final = str.maketrans(
    {**dict.fromkeys("0123456789", FIGURE_SPACE), ",": PUNCTUATION_SPACE}
)


@dataclass(frozen=True)
class Column:
    """A column to show: its heading and, for numbers, that it is aligned to the right."""

    heading: str
    numeric: bool = False


@dataclass(frozen=True)
class Table:
    """A finished table of texts; Jupyter shows it as HTML, a plain console as aligned text."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    empty: str = "Nothing to list."
    wide: bool = False

    @classmethod
    def of(
        cls,
        caption: str,
        columns: Sequence[Column],
        rows: Sequence[Sequence[Any]],
        wide: bool = False,
    ) -> "Table":
        """Make a table from any rows, turning every cell into text.

        A ``wide`` table keeps its cells on one line and its first column in sight on a phone.
        """
        texts = tuple(tuple(str(cell) for cell in row) for row in rows)
        return cls(caption, tuple(columns), texts, wide=wide)

    def to_html(self) -> str:
        """Return the table as HTML; every text is escaped, so no cell can become markup."""
        if not self.rows:
            return f"<p>{html.escape(self.empty)}</p>"
        head = "".join(_heading(column) for column in self.columns)
        body = "\n".join(f"<tr>{self._cells(row)}</tr>" for row in self.rows)
        return (
            f'<div class="{"table results" if self.wide else "table"}" role="region" tabindex="0" '
            f'aria-label="{html.escape(self.caption, quote=True)}">\n'
            f"<table>\n<caption>{html.escape(self.caption)}</caption>\n"
            f"<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>\n</div>"
        )

    def to_text(self) -> str:
        """Return the table as aligned plain text."""
        if not self.rows:
            return self.empty
        grid = [tuple(column.heading for column in self.columns), *self.rows]
        widths = [max(len(row[i]) for row in grid) for i in range(len(self.columns))]
        lines = [
            "  ".join(
                text.rjust(width) if column.numeric else text.ljust(width)
                for text, width, column in zip(row, widths, self.columns, strict=True)
            ).rstrip()
            for row in grid
        ]
        return "\n".join([self.caption, *lines])

    def _cells(self, row: tuple[str, ...]) -> str:
        first, *rest = zip(row, self.columns, strict=True)
        cells = [f'<th scope="row">{html.escape(first[0])}</th>']
        for text, column in rest:
            kind = ' class="number"' if column.numeric else ""
            cells.append(f"<td{kind}>{html.escape(text)}</td>")
        return "".join(cells)

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Mapping[str, str]:
        return {"text/html": self.to_html(), "text/plain": self.to_text()}


@dataclass(frozen=True)
class Words:
    """Text to read, written in Markdown."""

    markdown: str

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Mapping[str, str]:
        return {"text/markdown": self.markdown, "text/plain": self.markdown}


def inert(text: str) -> str:
    """Text from a data file, so written that Markdown reads no link, emphasis or HTML in it.

    >>> inert("[x](y) <b>")
    '\\\\[x\\\\]\\\\(y\\\\) \\\\<b\\\\>'
    """
    return _SPEAKS_TO_MARKDOWN.sub(r"\\\g<0>", " ".join(text.split()))


def on_the_point(texts: Sequence[str]) -> list[str]:
    """Texts that begin with a number, padded so that their decimal points stand one below another.

    The padding is as wide as the digits and commas it stands for, in every font.

    >>> on_the_point(["8.9 %", "21 %"]) == [FIGURE_SPACE + "8.9 %", "21 %"]
    True
    """
    wholes = [(match[0] if (match := _WHOLE.match(text)) else "") for text in texts]
    widest = max(wholes, key=len, default="")
    blank = widest.translate(_AS_WIDE)
    return [
        blank[: len(widest) - len(whole)] + text if whole else text
        for text, whole in zip(texts, wholes, strict=True)
    ]


def _heading(column: Column) -> str:
    kind = ' class="number"' if column.numeric else ""
    return f'<th scope="col"{kind}>{html.escape(column.heading)}</th>'
