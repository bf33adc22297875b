"""The first printed page: what was found and what it means, in words; pictures follow."""

from collections.abc import Sequence
from dataclasses import replace

from trialkit.publish.sections import Section

LEADING = 2
PICTURES = "At a glance"


def with_lead(sections: Sequence[Section]) -> tuple[Section, ...]:
    """Return the sections with the leading ones free of figures, which open the next page.

    The leading sections are the first two that have a title: what was found, and what it means
    for a grower. Without figures they fit one printed page. A page with fewer sections than
    three titled ones is left as it is.
    """
    titled = [place for place, section in enumerate(sections) if section.title]
    if len(titled) <= LEADING:
        return tuple(sections)
    end = titled[LEADING]
    lead, rest = sections[:end], list(sections[end:])
    pictures = [block for section in lead for block in section.blocks if block.kind == "figure"]
    if pictures:
        rest.insert(0, Section(PICTURES, _free_key("at-a-glance", sections), blocks=pictures))
    rest[0] = replace(rest[0], place="after-lead")
    return (*map(_in_words, lead), *rest)


def _in_words(section: Section) -> Section:
    words = [block for block in section.blocks if block.kind != "figure"]
    return replace(section, place="summary", blocks=words)


def _free_key(key: str, sections: Sequence[Section]) -> str:
    taken = {section.key for section in sections}
    return key if key not in taken else f"{key}-figures"
