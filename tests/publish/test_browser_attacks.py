"""Over a hundred hostile texts in every place that takes text, opened in a real browser."""

import nbformat.v4 as nb4
import pytest
from attacks import ATTACKS

from trialkit.narrative.tables import Column, Table
from trialkit.publish import IndexEntry, PageFacts, index_page
from trialkit.publish.page import report_page

PIXEL = (
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJ"
    "AAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
FORBIDDEN = (
    "script, iframe, object, embed, link, form, input, button, video, audio, base, svg, template"
)
# Hurts when called, and counts markup that must not be there and handlers on any element.
LOOK = f"""() => [window.hurts || 0, document.querySelectorAll('{FORBIDDEN}').length,
  document.querySelectorAll('style').length, document.querySelectorAll('meta[http-equiv]').length,
  [...document.querySelectorAll('*')].filter(one => [...one.attributes].some(
    a => /^on/i.test(a.name) || (/^(href|src|action)$/i.test(a.name) &&
      /^\\s*(javascript|vbscript|data:text)/i.test(a.value)))).length]"""


def output(kind: str, text: str, metadata: dict | None = None):
    return nb4.new_output("display_data", data={kind: text}, metadata=metadata or {})


def table_of(attack: str) -> str:
    return Table.of(attack, [Column(attack), Column("x")], [(attack, attack)]).to_html()


PLACES = {
    "narrative": lambda a: nb4.new_markdown_cell(a),
    "heading": lambda a: nb4.new_markdown_cell(f"## {a}\n\n{a}"),
    "words": lambda a: nb4.new_code_cell("", outputs=[output("text/markdown", f"- {a}")]),
    "markup": lambda a: nb4.new_code_cell("", outputs=[output("text/html", a)]),
    "table": lambda a: nb4.new_code_cell("", outputs=[output("text/html", table_of(a))]),
    "plain": lambda a: nb4.new_code_cell("", outputs=[output("text/plain", a)]),
    "figure": lambda a: nb4.new_code_cell(
        "", outputs=[output("image/png", PIXEL, {"image/png": {"alt": a, "caption": a}})]
    ),
    "fault": lambda a: nb4.new_code_cell(
        "", outputs=[nb4.new_output("error", ename=a, evalue=a, traceback=[a])]
    ),
    "stream": lambda a: nb4.new_code_cell("", outputs=[nb4.new_output("stream", text=a)]),
    "code": lambda a: nb4.new_code_cell(a),
}


def seen_in(browser, path, text: str):
    """What the browser ran and asked for when it showed the page, with every fold open."""
    path.write_text(text, encoding="utf-8")
    page, asked = browser.new_page(), []
    page.add_init_script("window.hurt = () => { window.hurts = (window.hurts || 0) + 1 }")
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    looked = page.evaluate(LOOK)
    page.close()
    return looked, [url for url in asked if not url.startswith("data:image/")], path.as_uri()


def test_there_are_more_than_a_hundred_attacks() -> None:
    assert len(set(ATTACKS)) >= 100


@pytest.mark.parametrize("place", PLACES)
def test_no_attack_runs_or_becomes_markup_in_a_report(browser, tmp_path, place) -> None:
    notebook = nb4.new_notebook(cells=[PLACES[place](attack) for attack in ATTACKS])
    text = report_page(notebook, PageFacts("x", "y"))
    looked, asked, own = seen_in(browser, tmp_path / "page.html", text)
    assert looked == [0, 0, 1, 1, 0]
    assert asked == [own]


def test_no_attack_runs_from_the_texts_of_a_study_or_its_faults(
    browser, tmp_path, example_study
) -> None:
    every = " ".join(ATTACKS)
    sites = [site.model_copy(update={"name": every}) for site in example_study.sites]
    changed = {"title": every, "summary": every, "crop": every, "sites": tuple(sites)}
    study = example_study.model_copy(update=changed)
    entry = IndexEntry(2025, "alder_bench", "a.html", "failed", faults=ATTACKS)
    looked, asked, own = seen_in(
        browser, tmp_path / "index.html", index_page(study, [entry], every)
    )
    assert looked == [0, 0, 1, 1, 0]
    assert asked == [own]
    text = report_page(nb4.new_notebook(), PageFacts(every, every, home="x.html"))
    assert seen_in(browser, tmp_path / "page.html", text)[0] == [0, 0, 1, 1, 0]


def test_the_browser_would_have_told(browser, tmp_path) -> None:
    """The same look at a page without trialkit's care finds what it must find."""
    looked, asked, own = seen_in(
        browser, tmp_path / "bare.html", "<img src=missing.png onclick=1><script>hurt(1)</script>"
    )
    assert looked[:2] == [1, 1]
    assert looked[4] == 1
    assert asked != [own]
