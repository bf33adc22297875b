"""Tables show what is in them and nothing that a cell could smuggle in."""

from trialkit.narrative.tables import PUNCTUATION_SPACE, Column, Table, inert, on_the_point
from trialkit.publish.clean import markdown_to_html

HEADS = [Column("Treatment"), Column("Mean", numeric=True)]


def test_a_cell_cannot_become_markup():
    table = Table.of("A <b>caption", HEADS, [("<script>alert(1)</script>", "1")])
    assert "<script>" not in table.to_html()
    assert "&lt;script&gt;" in table.to_html()
    assert "A &lt;b&gt;caption" in table.to_html()


def test_a_table_has_caption_and_scopes():
    html = Table.of("Means", HEADS, [("Check", "1.0")]).to_html()
    assert "<caption>Means</caption>" in html
    assert '<th scope="col">Treatment</th>' in html
    assert '<th scope="row">Check</th><td class="number">1.0</td>' in html


def test_plain_text_aligns_numbers_to_the_right():
    text = Table.of("Means", HEADS, [("Check", "10.0"), ("Netting", "2.5")]).to_text()
    assert text.splitlines()[2:] == ["Check      10.0", "Netting     2.5"]


def test_an_empty_table_says_so_in_both_forms():
    table = Table("Faults", tuple(HEADS), (), "No fault was found.")
    assert table.to_text() == "No fault was found."
    assert table.to_html() == "<p>No fault was found.</p>"


def test_numbers_that_begin_a_text_are_padded_to_their_decimal_points() -> None:
    texts = ["1,234.5 lb", "8.9 % lower", "21 % lower", "is the check"]
    padded = on_the_point(texts)
    assert [len(text) - len(given) for text, given in zip(padded, texts, strict=True)] == [
        0, 4, 3, 0,
    ]  # fmt: skip
    assert padded[1].strip() == texts[1]
    assert PUNCTUATION_SPACE in padded[1]


def test_a_data_text_says_nothing_to_markdown():
    assert markdown_to_html(inert("[x](https://example.org) *y* <b>z</b> &lt;")).strip() == (
        "<p>[x](https://example.org) *y* &lt;b&gt;z&lt;/b&gt; &amp;lt;</p>"
    )
