"""A notebook becomes sections in reading order; figures need words."""

import nbformat.v4 as nb4
import pytest

from trialkit.errors import TrialkitError
from trialkit.publish.sections import listings_of, sections_of

PIXEL = "iVBORw0KGgo=\n"


def notebook(*cells):
    return nb4.new_notebook(cells=list(cells))


def shown(data, metadata=None):
    return nb4.new_output("display_data", data=data, metadata=metadata or {})


def test_second_level_headings_open_sections_and_the_first_title_is_left_out() -> None:
    sections = sections_of(
        notebook(
            nb4.new_markdown_cell("# Report"),
            nb4.new_markdown_cell("## What was found\n\nWords."),
            nb4.new_markdown_cell("## Cautions"),
        )
    )
    assert [section.title for section in sections] == ["What was found", "Cautions"]
    assert [section.key for section in sections] == ["what-was-found", "cautions"]
    assert "Words." in sections[0].blocks[0].markup


def test_two_sections_of_one_name_get_two_anchors() -> None:
    cells = [nb4.new_markdown_cell("## Notes"), nb4.new_markdown_cell("## Notes")]
    keys = [section.key for section in sections_of(notebook(*cells))]
    assert len(set(keys)) == 2


def test_outputs_stand_under_the_heading_before_them() -> None:
    cell = nb4.new_code_cell("show()", outputs=[shown({"text/html": "<table></table>"})])
    sections = sections_of(notebook(nb4.new_markdown_cell("## Means"), cell))
    assert [block.kind for block in sections[0].blocks] == ["table"]


def test_a_figure_carries_its_alternative_text() -> None:
    output = shown({"image/png": PIXEL, "text/plain": "x"}, {"image/png": {"alt": "Fewer beetles"}})
    (section,) = sections_of(notebook(nb4.new_code_cell("draw()", outputs=[output])))
    assert section.blocks[0].alternative == "Fewer beetles"
    assert section.blocks[0].source == "data:image/png;base64,iVBORw0KGgo="


def test_a_figure_without_alternative_text_is_an_error() -> None:
    cell = nb4.new_code_cell("draw()", outputs=[shown({"image/png": PIXEL})])
    with pytest.raises(TrialkitError, match="no alternative text"):
        sections_of(notebook(cell))


def test_a_drawing_in_svg_stands_inside_an_image_where_nothing_runs() -> None:
    output = shown(
        {"image/svg+xml": "<svg><script>alert(1)</script></svg>"}, {"image/svg+xml": {"alt": "x"}}
    )
    (section,) = sections_of(notebook(nb4.new_code_cell("draw()", outputs=[output])))
    assert section.blocks[0].source.startswith("data:image/svg+xml")
    assert "<" not in section.blocks[0].source


def test_a_fault_is_told_without_a_traceback() -> None:
    error = nb4.new_output(
        "error", ename="DataError", evalue="\x1b[31mbad\x1b[0m", traceback=["tb"]
    )
    (section,) = sections_of(notebook(nb4.new_code_cell("x", outputs=[error])))
    assert section.blocks[0].kind == "fault"
    assert section.blocks[0].markup == "<pre>DataError: bad</pre>"


def test_code_is_listed_apart_in_its_order() -> None:
    cells = [nb4.new_code_cell("a = 1"), nb4.new_code_cell(""), nb4.new_code_cell("b = 2")]
    assert [listing.source for listing in listings_of(notebook(*cells))] == ["a = 1", "b = 2"]
