"""One executed notebook as one HTML file that asks nothing of anybody."""

import base64
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from nbconvert.exporters.templateexporter import TemplateExporter
from nbformat import NotebookNode
from traitlets.config import Config

from trialkit.publish.sections import listings_of, sections_of

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


class PageExporter(TemplateExporter):
    """nbconvert's exporter with trialkit's own template and nothing of the stock pages."""

    export_from_notebook = None
    output_mimetype = "text/html"

    def __init__(self, template: str = "trialkit_page") -> None:
        config = Config({"TemplateExporter": {"preprocessors": [], "default_preprocessors": []}})
        super().__init__(
            config=config,
            template_name=template,
            template_file="index.html.j2",
            extra_template_basedirs=[str(TEMPLATES)],
        )
        self.environment.autoescape = True

    def _file_extension_default(self) -> str:
        return ".html"


@lru_cache(maxsize=2)
def exporter(template: str = "trialkit_page") -> PageExporter:
    """Return the exporter of this process; its template is loaded once."""
    return PageExporter(template)


@lru_cache(maxsize=1)
def style() -> str:
    """Return the style sheet that every page carries in itself."""
    return (TEMPLATES / "style.css").read_text(encoding="utf-8")


def policy() -> str:
    """Return the content-security policy: no request, no script, and this one style sheet only."""
    digest = hashlib.sha256(style().encode()).digest()
    return POLICY.format(style=base64.b64encode(digest).decode())


def report_page(notebook: Mapping[str, Any], facts: PageFacts) -> str:
    """Return the page of an executed notebook.

    The page holds everything that it shows. Code stands folded away at its end. Raises
    TrialkitError when a figure has no alternative text.
    """
    view = {
        "facts": facts,
        "sections": sections_of(notebook),
        "listings": listings_of(notebook),
        "style": style(),
        "policy": policy(),
    }
    return rendered("trialkit_page", view, notebook)


def rendered(template: str, view: Mapping[str, Any], notebook: Mapping[str, Any]) -> str:
    """Fill one of trialkit's templates with ``view``."""
    # Outputs are in the view already; the exporter would only copy them once more.
    bare = NotebookNode(cells=[], metadata=notebook["metadata"], nbformat=4, nbformat_minor=5)
    body, _ = exporter(template).from_notebook_node(bare, resources={"page": dict(view)})
    return str(body)
