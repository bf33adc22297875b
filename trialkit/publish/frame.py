"""What all pages share: facts about a page, the style sheet, the content-security policy."""

import base64
import hashlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

TEMPLATES = Path(__file__).parent / "templates"
POLICY = (
    "default-src 'none'; img-src data:; style-src 'sha256-{style}'; "
    "base-uri 'none'; form-action 'none'"
)


@dataclass(frozen=True)
class PageFacts:
    """What a page says about itself, apart from its notebook.

    ``home`` is the relative link to the index; ``invented`` labels the data as invented;
    ``rendered`` is a time to print, as text, or empty (a page with a time changes every render).
    """

    title: str
    study: str
    invented: bool = False
    home: str = ""
    rendered: str = ""


@lru_cache(maxsize=1)
def style() -> str:
    """Return the style sheet that every page carries in itself."""
    return (TEMPLATES / "style.css").read_text(encoding="utf-8")


def policy() -> str:
    """Return the content-security policy: no request, no script, and this one style sheet only."""
    digest = hashlib.sha256(style().encode()).digest()
    return POLICY.format(style=base64.b64encode(digest).decode())
