"""Nothing that comes in as text leaves as something that runs, loads or disturbs the page."""

import pytest

from trialkit.publish.clean import HeadingOrder, clean_html, markdown_to_html, text_to_html


@pytest.mark.parametrize(
    "attack",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "<svg onload=alert(1)></svg>",
        "<a href='javascript:alert(1)'>x</a>",
        "<a href='data:text/html,<script>alert(1)</script>'>x</a>",
        "<iframe src='https://example.org'></iframe>",
        "<style>body{display:none}</style>",
        "<p style='position:fixed'>x</p>",
        "<form action='https://example.org'><input></form>",
        "<link rel=stylesheet href='https://example.org/x.css'>",
        "<meta http-equiv=refresh content='0;url=https://example.org'>",
        "<table background='https://example.org/x.png'><tr><td>1</td></tr></table>",
        "<div class='masthead' id='main' onclick='alert(1)'>x</div>",
        "<math><mtext><script>alert(1)</script></mtext></math>",
    ],
)
@pytest.mark.parametrize("clean", [clean_html, markdown_to_html])
def test_attacks_lose_their_teeth(attack: str, clean) -> None:
    cleaned = clean(attack).lower()
    for tooth in (
        "<script",
        "<img",
        "<svg",
        "onclick",
        "javascript:",
        "data:",
        "<iframe",
        "<style",
        "style=",
        "<form",
        "<link",
        "<meta",
        "background",
        "masthead",
        "id=",
        "example",
    ):
        assert tooth not in cleaned


def test_a_table_keeps_its_caption_scopes_and_alignment() -> None:
    table = (
        '<div class="table" role="region" tabindex="0" aria-label="Means"><table>'
        '<caption>Means</caption><thead><tr><th scope="col">A</th></tr></thead>'
        '<tbody><tr><th scope="row">x</th><td class="number">1</td></tr></tbody></table></div>'
    )
    cleaned = clean_html(table)
    for kept in (
        'role="region"',
        'tabindex="0"',
        'aria-label="Means"',
        "<caption>Means</caption>",
        'scope="col"',
        'scope="row"',
        'class="number"',
    ):
        assert kept in cleaned


def test_links_to_the_web_stay_and_do_not_tell_where_they_come_from() -> None:
    cleaned = markdown_to_html("[source](https://example.org)")
    assert 'href="https://example.org"' in cleaned
    assert "noopener" in cleaned


def test_plain_text_is_shown_as_it_is() -> None:
    assert text_to_html("<b> & 'x'") == "<pre>&lt;b&gt; &amp; &#x27;x&#x27;</pre>"


def test_no_heading_level_is_skipped_across_cells() -> None:
    order = HeadingOrder()
    assert order.apply("<h2>a</h2><h4>b</h4>") == "<h2>a</h2><h3>b</h3>"
    assert order.apply("<h6>c</h6>") == "<h4>c</h4>"
    assert order.apply("<h1>d</h1>") == "<h2>d</h2>"
