"""What a person meets in a real browser: nothing hidden, cut off, fetched or out of reach."""

import itertools
from typing import Any

import pytest

PAGES = ("site_season", "across", "index")
WIDTHS = {"phone": 390, "desktop": 1280}
SCHEMES = ("light", "dark")
# Paper within the margins of the style sheet (15 mm at the sides), in CSS pixels of 1/96 inch.
MM = 96 / 25.4
PAPER = {"Letter": (215.9, 279.4), "A4": (210.0, 297.0)}
LARGEST = 1.5 * 1024**2

each_page = pytest.mark.parametrize("name", PAGES)


def opened(browser: Any, path: Any, width: int = 1280, scheme: str = "light") -> Any:
    page = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
    page.goto(path.as_uri())
    return page


def for_paper(browser: Any, path: Any, paper: str) -> Any:
    page = opened(browser, path, width=round((PAPER[paper][0] - 30) * MM))
    page.emulate_media(media="print")
    return page


@each_page
@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_axe_finds_nothing_to_object_to(browser, pages, name, width, scheme) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    page = opened(browser, pages[name], width, scheme)
    page.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    result = axe.run(page)
    page.close()
    assert result.response["passes"], "axe looked at nothing"
    assert result.violations_count == 0, result.generate_report()


@each_page
@pytest.mark.parametrize("width", WIDTHS.values(), ids=WIDTHS)
def test_the_page_itself_never_scrolls_sideways(browser, pages, name, width) -> None:
    page = opened(browser, pages[name], width)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.close()


@each_page
def test_nothing_is_asked_of_the_network_and_nothing_is_refused(browser, pages, name) -> None:
    page = browser.new_page()
    asked, told = [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: told.append(message.text))
    page.goto(pages[name].as_uri())
    page.wait_for_load_state("networkidle")
    assert [url for url in asked if not url.startswith("data:")] == [pages[name].as_uri()]
    assert told == []
    page.close()


@pytest.mark.parametrize("name", ["site_season", "across"])
def test_every_figure_is_seen_and_has_words(browser, pages, name) -> None:
    page = opened(browser, pages[name])
    figures = page.evaluate(
        "[...document.images].map(i => "
        "[i.naturalWidth, i.alt.length, getComputedStyle(i).backgroundColor])"
    )
    assert len(figures) >= 3
    assert all(width > 0 and words > 20 for width, words, _ in figures)
    assert {ground for *_, ground in figures} == {"rgb(255, 255, 255)"}
    page.close()


@each_page
def test_headings_run_in_order_and_tables_say_what_their_cells_are(browser, pages, name) -> None:
    page = opened(browser, pages[name])
    levels = page.evaluate("[...document.querySelectorAll('h1,h2,h3,h4')].map(h => +h.tagName[1])")
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))
    bare = "table:not(:has(caption)), th:not([scope])"
    assert page.evaluate(f"document.querySelectorAll('{bare}').length") == 0
    page.close()


def test_a_wide_table_is_scrolled_by_the_keyboard_with_its_first_column_in_sight(
    browser, pages
) -> None:
    page = opened(browser, pages["site_season"], WIDTHS["phone"])
    region = page.locator(".results").first
    region.focus()
    for _ in range(50):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(40)
        if region.evaluate("table => table.scrollLeft") > 20:
            break
    assert region.evaluate("table => table.scrollLeft") > 20
    first = page.locator(".results tbody th").first.bounding_box()
    assert 0 <= first["x"] < 40
    page.close()


def test_decimal_points_stand_one_below_another(browser, pages) -> None:
    """The left edge of every decimal point of a column of means, measured in the page."""
    page = opened(browser, pages["site_season"])
    columns = page.evaluate(
        """() => [...document.querySelectorAll('.results table')].map(table =>
          [...table.rows].slice(1).flatMap(row => [row.cells[5]]).map(cell => {
            const node = cell.firstChild, text = node ? node.data : '';
            const end = text.search(/[.]| /), digits = /^[\\s\\d,]*\\d/.test(text);
            if (!digits || end < 0) return null;
            const range = document.createRange();
            const whole = text.match(/^[\\s\\d,]*\\d/)[0].length;
            range.setStart(node, 0); range.setEnd(node, whole);
            return range.getBoundingClientRect().right;
          }).filter(right => right !== null))"""
    )
    measured = [column for column in columns if len(column) > 1]
    assert len(measured) >= 5
    assert all(max(column) - min(column) < 1 for column in measured)
    page.close()


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("name", ["site_season", "across"])
def test_the_growers_summary_fits_the_first_printed_page(browser, pages, name, paper) -> None:
    page = for_paper(browser, pages[name], paper)
    bottom = page.evaluate(
        "Math.max(...[...document.querySelectorAll('.summary')]"
        ".map(section => section.getBoundingClientRect().bottom))"
    )
    assert 0 < bottom <= (PAPER[paper][1] - 27) * MM
    breaks = page.evaluate("getComputedStyle(document.querySelector('.after-lead')).breakBefore")
    assert breaks == "page"
    page.close()


@pytest.mark.parametrize("paper", PAPER)
@pytest.mark.parametrize("name", ["site_season", "across"])
def test_no_figure_is_cut_by_the_edge_of_a_page(browser, pages, name, paper) -> None:
    page = for_paper(browser, pages[name], paper)
    sizes = page.evaluate(
        "[...document.querySelectorAll('figure')].map(f => [f.getBoundingClientRect().width, "
        "f.getBoundingClientRect().height, getComputedStyle(f).breakInside])"
    )
    width, height = ((side - edge) * MM for side, edge in zip(PAPER[paper], (30, 27), strict=True))
    assert all(w <= width + 1 and h <= height and keep == "avoid" for w, h, keep in sizes)
    page.close()


@each_page
def test_a_page_is_small_enough_for_a_phone_in_the_field(pages, name) -> None:
    assert pages[name].stat().st_size <= LARGEST
