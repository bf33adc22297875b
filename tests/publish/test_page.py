"""A page holds everything that it shows and asks nothing of anybody."""

import base64
import hashlib
import itertools
import re

import nbformat.v4 as nb4
import pytest

from trialkit.publish import PageFacts
from trialkit.publish.page import report_page

FACTS = PageFacts(
    "Alder <Bench>, 2025", "Beetles & netting", invented=True, home="../../index.html"
)


@pytest.fixture(scope="module")
def page() -> str:
    figure = nb4.new_output(
        "display_data", data={"image/png": "iVBORw0KGgo="}, metadata={"image/png": {"alt": 'A "b"'}}
    )
    cells = [
        nb4.new_markdown_cell("# Title"),
        nb4.new_markdown_cell("## Found\n\nSome words."),
        nb4.new_code_cell("draw('<x>')", outputs=[figure]),
        nb4.new_markdown_cell("## Cautions"),
        nb4.new_markdown_cell("## Methods"),
    ]
    return report_page(nb4.new_notebook(cells=cells), FACTS)


def test_texts_are_escaped(page: str) -> None:
    assert "<h1>Alder &lt;Bench&gt;, 2025</h1>" in page
    assert "Beetles &amp; netting" in page
    assert 'alt="A &#34;b&#34;"' in page
    assert "draw(&#39;&lt;x&gt;&#39;)" in page


def test_the_page_names_its_language_and_has_one_title_and_ordered_headings(page: str) -> None:
    assert '<html lang="en">' in page
    levels = [int(level) for level in re.findall(r"<h([1-6])", page)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_nothing_is_asked_of_the_network(page: str) -> None:
    outside = re.findall(r"""(?:src|href)=["'](?!data:|#|\.\./)([^"']+)""", page)
    assert outside == []
    assert "@import" not in page
    assert "url(" not in page
    assert "<script" not in page


def test_the_policy_admits_this_style_sheet_alone(page: str) -> None:
    style = re.search(r"<style>(.*?)</style>", page, re.DOTALL).group(1)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src &#39;sha256-{digest}&#39;" in page
    assert "default-src &#39;none&#39;" in page
    assert "style=" not in page.split("</head>")[1]


def test_code_is_folded_away_at_the_end(page: str) -> None:
    assert page.index("<details>") > page.index("Methods</h2>")


def test_invented_data_are_labelled(page: str) -> None:
    assert "Invented data." in page
    real = report_page(nb4.new_notebook(), PageFacts("x", "y"))
    assert "Invented data." not in real


def test_the_same_notebook_gives_the_same_bytes() -> None:
    cells = [nb4.new_markdown_cell("## A\n\nb", id="a")]
    assert report_page(nb4.new_notebook(cells=cells), FACTS) == report_page(
        nb4.new_notebook(cells=cells), FACTS
    )
