"""One executed notebook as one HTML file that asks nothing of anybody."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from nbconvert.exporters.templateexporter import TemplateExporter
from nbformat import NotebookNode
from traitlets.config import Config

from trialkit.publish.frame import TEMPLATES, PageFacts, policy, style
from trialkit.publish.lead import with_lead
from trialkit.publish.sections import listings_of, masthead_of, sections_of

TEMPLATE = "trialkit_page"


class PageExporter(TemplateExporter):
    """nbconvert's exporter with trialkit's own template and nothing of the stock pages."""

    output_mimetype = "text/html"

    def __init__(self) -> None:
        config = Config({"TemplateExporter": {"preprocessors": [], "default_preprocessors": []}})
        super().__init__(
            config=config,
            template_name=TEMPLATE,
            template_file="index.html.j2",
            extra_template_basedirs=[str(TEMPLATES)],
        )
        self.environment.autoescape = True

    def _file_extension_default(self) -> str:
        return ".html"

    def _preprocess(self, nb: Any, resources: Any) -> tuple[Any, Any]:
        """Hand on what is there: copies, which take long, are for preprocessors to work on."""
        return nb, resources


@lru_cache(maxsize=1)
def exporter() -> PageExporter:
    """Return the exporter of this process; its template is loaded once."""
    return PageExporter()


def report_page(notebook: Mapping[str, Any], facts: PageFacts) -> str:
    """Return the page of an executed notebook.

    The page holds everything that it shows. Code stands folded away at its end. Raises
    TrialkitError when a figure has no alternative text.
    """
    view = {
        "facts": facts,
        "masthead": masthead_of(notebook),
        "sections": with_lead(sections_of(notebook)),
        "listings": listings_of(notebook),
        "style": style(),
        "policy": policy(),
    }
    # Outputs are in the view already; the exporter would only copy them once more.
    bare = NotebookNode(cells=[], metadata=notebook["metadata"], nbformat=4, nbformat_minor=5)
    body, _ = exporter().from_notebook_node(bare, resources={"page": view})
    # The template engine drops the newline that a text file ends with.
    return f"{body}\n"
