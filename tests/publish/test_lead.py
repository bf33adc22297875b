"""The first printed page holds words; its figures open the next one."""

from trialkit.publish.lead import with_lead
from trialkit.publish.sections import Block, Section

WORDS, FIGURE = Block("words", "<p>x</p>"), Block("figure", source="data:,", alternative="x")


def section(title: str, *blocks: Block) -> Section:
    return Section(title, title.lower(), blocks=list(blocks))


def test_figures_of_the_two_leading_sections_follow_in_a_section_of_their_own() -> None:
    found = section("Found", WORDS, FIGURE)
    led = with_lead([found, section("Grower", WORDS), section("Run", FIGURE)])
    assert [one.title for one in led] == ["Found", "Grower", "At a glance", "Run"]
    assert [one.place for one in led] == ["summary", "summary", "after-lead", ""]
    assert led[0].blocks == [WORDS]
    assert led[2].blocks == [FIGURE]


def test_without_figures_the_third_section_opens_the_next_page() -> None:
    led = with_lead([section("Found", WORDS), section("Grower", WORDS), section("Run", WORDS)])
    assert [one.place for one in led] == ["summary", "summary", "after-lead"]


def test_a_short_page_is_left_as_it_is() -> None:
    sections = [section("Found", WORDS, FIGURE), section("Grower", WORDS)]
    assert with_lead(sections) == tuple(sections)
