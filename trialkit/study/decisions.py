"""Decisions on record: is a site that followed another protocol kept in the combined answer?"""

from collections import Counter
from collections.abc import Collection, Iterator
from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from trialkit.study.parts import Part

Reason = Annotated[str, StringConstraints(min_length=1)]


class ProtocolDecision(Part):
    """One decision; without ``treatment`` it is about every plot of the site in that season.

    ``exclude`` takes it out of the answer across site-seasons, ``keep`` leaves it in; the reports
    say which, with the reason. The site's own report is the same either way.
    """

    season: int = Field(ge=1900, le=2200)
    site: str
    treatment: str = ""
    decision: Literal["exclude", "keep"]
    reason: Reason


def decision_problems(
    decisions: tuple[ProtocolDecision, ...],
    places: Collection[tuple[int, str]],
    treatments: Collection[str],
    check: str,
) -> Iterator[str]:
    """Yield what is wrong with decisions, each naming the entry; ``places`` are those planned."""
    seasons, sites = {season for season, _ in places}, {site for _, site in places}
    for one in decisions:
        where = f"protocol_decisions: {_named(one)}"
        if one.season not in seasons:
            yield f"{where}: season {one.season} is not listed (listed: {_list(seasons)})"
        elif one.site not in sites:
            yield f"{where}: site '{one.site}' is not declared (declared: {_list(sites)})"
        elif (one.season, one.site) not in places:
            yield f"{where}: season {one.season} does not take place at '{one.site}'"
        if one.treatment and one.treatment not in treatments:
            known = _list(treatments)
            yield f"{where}: treatment '{one.treatment}' is not declared (declared: {known})"
        if one.decision == "exclude" and one.treatment == check:
            yield f"{where}: nothing can be compared without the check; leave 'treatment' out"
    named = Counter(_named(one) for one in decisions)
    for name in sorted(name for name, number in named.items() if number > 1):
        yield f"protocol_decisions: {name} is decided twice; keep the entry that counts"


def _named(one: ProtocolDecision) -> str:
    return f"{one.season} {one.site}" + (f" {one.treatment}" if one.treatment else "")


def _list(names: Collection[object]) -> str:
    return ", ".join(sorted(map(str, names))) or "none"
