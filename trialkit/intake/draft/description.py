"""A study description drafted from tables: what the sheets show, and what a person has to say."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

from trialkit.intake.draft.contents import (
    Named,
    Tables,
    season_of,
    stages_of,
    untreated,
    words_of,
)
from trialkit.intake.draft.guesses import Guess
from trialkit.intake.draft.toml import comment, guess, part, toml_text
from trialkit.intake.draft.words import US_UNITS
from trialkit.study.description import DEFAULT_EVENTS

_TOP: Final = (
    "Drafted from a workbook. What is marked as a guess was read out of it, with the evidence:",
    "look at each, mend it, and take the mark away. Then run: trialkit check FOLDER",
)
_MARGIN: Final = "no sheet tells the margin; it is in percent of the check's mean"
_STEP: Final = "no sheet tells the margin; it is in steps of the score"


@dataclass(frozen=True)
class Mapped:
    """A table, the sheet that holds it, the pattern of its file, and how it is read."""

    table: str
    title: str
    file: str
    why: str
    guesses: tuple[Guess, ...]


def description(
    name: str, tables: Tables, mapped: Sequence[Mapped], season: int, site: tuple[str, str, str]
) -> str:
    """Return the text of study.toml; ``site`` is the id, the name and the evidence for them."""
    lines = [
        *map(comment, _TOP),
        "",
        *_general(name, mapped, tables),
        *_treatments(words_of(tables, "treatment")),
        *part("[[sites]]", [("id", site[0]), ("name", site[1])], site[2]),
        *_season(tables, season),
        *_organisms(tables),
        *_named("cull_causes", words_of(tables, "cull_cause")),
        *_ratings(tables),
        *_measures(tables),
        *(line for one in mapped for line in _mapping(one)),
    ]
    return "\n".join(lines)


def _general(name: str, mapped: Sequence[Mapped], tables: Tables) -> Iterator[str]:
    yield f"name = {toml_text(name)}"
    yield 'title = "Title of the study, as it heads every report"'
    yield 'crop = "name of the crop"'
    found = [(g.value, g.why) for one in mapped for g in one.guesses if g.part == "units"]
    us = [why for unit, why in found if unit in US_UNITS]
    if len(us) * 2 > len(found):
        yield guess(f"{us[0]}; where no header names a unit, US units were taken")
        yield 'units = "us"'
    elif found:
        yield guess(f"{found[0][1]}; where no header names a unit, SI units were taken")
        yield 'units = "si"'
    else:
        yield guess("no header names a unit: say what people typed")
        yield 'units = "us"'
    events = [one.id for one in words_of(tables, "event")]
    if events:
        yield guess("the usual events, and those in the sheets")
        yield f"events = {toml_text(list(dict.fromkeys([*DEFAULT_EVENTS, *events])))}"
    yield ""


def _treatments(found: list[Named]) -> Iterator[str]:
    if not found:
        found = [Named("Untreated check", "check"), Named("Treatment", "treatment")]
        yield comment("No sheet names the treatments: put yours here.")
    elif len(found) == 1:
        other = "check" if found[0].id != "check" else "treatment"
        found = [*found, Named(other.capitalize(), other)]
        yield comment("The sheets name one treatment only: put the others here.")
    check, why = untreated(found)
    for one in found:
        entries: list[tuple[str, Any]] = [("id", one.id), ("name", one.word)]
        is_check = one.id == check
        yield from part("[[treatments]]", entries + [("check", True)] * is_check, why * is_check)


def _season(tables: Tables, season: int) -> Iterator[str]:
    _, first, last, why = season_of(tables, season)
    if first.year != season:
        first, last = first.replace(year=season), last.replace(year=season, day=28)
    entries = [("year", season), ("first_date", first), ("last_date", last), ("finished", False)]
    yield from part("[[seasons]]", entries, why)


def _organisms(tables: Tables) -> Iterator[str]:
    for one in words_of(
        {"scouting": tables["scouting"]} if "scouting" in tables else {}, "organism"
    ):
        entries: list[tuple[str, Any]] = [("id", one.id), ("name", one.word.replace("_", " "))]
        stages = stages_of(tables, one.word)
        yield from part("[[organisms]]", entries + [("stages", stages)] * bool(stages))


def _named(key: str, found: list[Named]) -> Iterator[str]:
    for one in found:
        yield from part(f"[[{key}]]", [("id", one.id), ("name", one.word.replace("_", " "))])


def _ratings(tables: Tables) -> Iterator[str]:
    for one in words_of({"ratings": tables["ratings"]} if "ratings" in tables else {}, "what"):
        scores = tables["ratings"]
        own = scores.loc[scores["what"].astype("object") == one.word, "score"].astype("object")
        above = [t for t in own.dropna() if str(t).replace(".", "", 1).isdigit() and float(t) > 10]
        scale = "percent" if above else "0-10"
        why = f"the scores reach {above[0]}" if above else "no score is above 10"
        entries = [("id", one.id), ("name", one.word.replace("_", " ")), ("scale", scale)]
        yield from part("[[ratings]]", entries, why)


def _measures(tables: Tables) -> Iterator[str]:
    yield comment("margin is the smallest difference that would matter to a grower: say yours.")
    for one in words_of({"": tables["scouting"]} if "scouting" in tables else {}, "organism"):
        entries = [("id", f"{one.id[:34]}_days"), ("kind", "insect_days"), ("organism", one.id)]
        named = ("name", f"{one.word.replace('_', ' ').capitalize()} days")
        yield from part("[[measures]]", [*entries, named, ("margin", 30)], _MARGIN)
    for one in words_of({"": tables["ratings"]} if "ratings" in tables else {}, "what"):
        entries = [("id", f"{one.id[:34]}_end"), ("kind", "final_score"), ("rating", one.id)]
        named = ("name", f"{one.word.replace('_', ' ').capitalize()} at the end")
        margin = [("margin", 1), ("margin_unit", "units")]
        yield from part("[[measures]]", [*entries, named, *margin], _STEP)
    if "harvest" in tables or not {"scouting", "ratings"} & set(tables):
        entries = [("id", "marketable_yield"), ("kind", "marketable_yield")]
        named = ("name", "Marketable yield")
        yield from part("[[measures]]", [*entries, named, ("margin", 10)], _MARGIN)


def _mapping(one: Mapped) -> Iterator[str]:
    """The lines of [intake.TABLE], entries first and then its parts, each with its evidence."""
    yield guess(one.why)
    yield f"[intake.{one.table}]"
    yield f"files = {toml_text([one.file])}"
    if one.title:
        yield f"sheets = {toml_text([escaped(one.title)])}"
    for found in one.guesses:
        if not found.part:
            yield from (guess(found.why), f"{found.key} = {toml_text(found.value)}")
    parts = dict.fromkeys(found.part for found in one.guesses if found.part)
    for name in parts:
        yield f"[intake.{one.table}.{name}]"
        for found in one.guesses:
            if found.part == name:
                yield from (guess(found.why), f"{toml_text(found.name)} = {toml_text(found.value)}")
    yield ""


def escaped(title: str) -> str:
    """Return a title as a pattern that fits it alone."""
    return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in title)
