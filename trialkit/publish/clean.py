"""Whatever reaches a page from data, narrative or outputs becomes harmless, orderly markup."""

import re
from functools import lru_cache
from html import escape
from typing import Final

import mistune
import nh3

_TAGS = """
a abbr b blockquote br caption code col colgroup dd del details div dl dt em figcaption figure
h1 h2 h3 h4 h5 h6 hr i ins li mark ol p pre s small span strong sub summary sup
table tbody td tfoot th thead time tr u ul
"""
_CLASSES = """
table number text note caution mark verdict worthwhile some none unsettled better worse
old new claim unsupported stale lead quiet results
"""
TAGS: Final = frozenset(_TAGS.split())
CLASSES: Final = frozenset(_CLASSES.split())
ATTRIBUTES: Final = {
    "a": {"href", "title"},
    "abbr": {"title"},
    "col": {"span"},
    "div": {"aria-label"},
    "ol": {"start"},
    "td": {"colspan", "rowspan", "headers"},
    "th": {"colspan", "rowspan", "scope", "abbr"},
    "time": {"datetime"},
}
FIXED_VALUES: Final = {"div": {"role": {"region", "note", "group"}, "tabindex": {"0"}}}
LINKS: Final = {"http", "https", "mailto"}
SEVERAL: Final = 64  # texts of a page; most of them stand on the next page as well
_HEADING = re.compile(r"<(/?)h([1-6])\b", re.IGNORECASE)


@lru_cache(maxsize=1)
def _markdown() -> mistune.Markdown:
    return mistune.create_markdown(
        escape=False, plugins=["table", "strikethrough", "superscript", "subscript"]
    )


def clean_html(markup: str) -> str:
    """Return ``markup`` with nothing in it that could run, load, submit, style or cover anything.

    >>> clean_html('<td onclick="x()">7</td><script>alert(1)</script><b>ok</b>')
    '7<b>ok</b>'
    """
    return _cleaner().clean(markup)


@lru_cache(maxsize=1)
def _cleaner() -> nh3.Cleaner:
    return nh3.Cleaner(
        tags=set(TAGS),
        attributes={tag: set(names) for tag, names in ATTRIBUTES.items()},
        tag_attribute_values={tag: dict(values) for tag, values in FIXED_VALUES.items()},
        allowed_classes={tag: set(CLASSES) for tag in TAGS},
        url_schemes=set(LINKS),
        link_rel="noopener noreferrer",
    )


@lru_cache(maxsize=SEVERAL)
def markdown_to_html(text: str) -> str:
    """Return Markdown as clean HTML; raw HTML inside it is cleaned like any other.

    >>> markdown_to_html('A **bold** word <img src=x onerror=alert(1)>').strip()
    '<p>A <strong>bold</strong> word </p>'
    """
    return clean_html(str(_markdown()(text)))


def text_to_html(text: str) -> str:
    """Return plain text as preformatted HTML.

    >>> text_to_html('a < b')
    '<pre>a &lt; b</pre>'
    """
    return f"<pre>{escape(text)}</pre>"


class HeadingOrder:
    """Keeps the headings of one page in order: below the page's own, no level skipped."""

    def __init__(self, deepest: int = 1) -> None:
        self._level = deepest

    def apply(self, markup: str, top: int = 2) -> str:
        """Return ``markup`` whose first heading is no higher than ``top`` and no level is skipped.

        >>> HeadingOrder().apply('<h1>One</h1><h4>Two</h4>')
        '<h2>One</h2><h3>Two</h3>'
        """
        opened: list[int] = []

        def renumber(match: re.Match[str]) -> str:
            if match.group(1):
                return f"</h{opened.pop() if opened else self._level}"
            self._level = min(max(int(match.group(2)), top), self._level + 1)
            opened.append(self._level)
            return f"<h{self._level}"

        return _HEADING.sub(renumber, markup)
