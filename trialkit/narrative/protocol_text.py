"""Sites that followed another protocol, in words, with what was decided about each."""

from collections.abc import Iterable
from typing import Final

from trialkit.findings import Standing
from trialkit.narrative.phrases import capital, listed, lower_first
from trialkit.narrative.tables import Column, Table, inert
from trialkit.study import Study

_DONE: Final = {
    "keep": "is kept in the combined answer",
    "exclude": "is left out of the combined answer",
}


def protocol_cautions(study: Study, standings: Iterable[Standing]) -> list[str]:
    """One sentence for each: kept or left out, with the reason, or still to be decided."""
    return [_caution(study, one) for one in standings]


def decision_words(one: Standing) -> str:
    """What was decided on one of them, for a cell of a table."""
    named = {"keep": "kept", "exclude": "excluded"}
    return f"{named[one.decision]}: {one.reason}" if one.decision else "not decided yet"


def protocol_table(study: Study, standings: Iterable[Standing]) -> Table:
    """One row per treatment and site-season that followed another protocol."""
    rows = [
        (
            f"{study.site(one.site).name} {one.season}: "
            + (study.treatment(one.treatment).label if one.treatment else "every plot"),
            _rules(study, one) or "none",
            decision_words(one),
        )
        for one in standings
    ]
    texts = ("Where", "Rule departed from", "Decision")
    table = Table.of("Site-seasons that followed another protocol", list(map(Column, texts)), rows)
    empty = "Every site followed the protocol of study.toml, late visits aside."
    return Table(table.caption, table.columns, table.rows, empty)


def _caution(study: Study, one: Standing) -> str:
    treatment = lower_first(study.treatment(one.treatment).name) if one.treatment else "every plot"
    where = f"at {study.site(one.site).name} in {one.season}"
    rules = _rules(study, one)
    departed = f" followed another protocol (departed from: {inert(rules)})" if rules else ""
    if one.decision:
        joined = f"{departed} and" if departed else ""
        text = f"{treatment} {where}{joined} {_DONE[one.decision]}: {inert(one.reason)}"
        return capital(text if text.endswith(".") else f"{text}.")
    return capital(
        f"{treatment} {where}{departed}, and nobody has decided yet whether that belongs into the "
        "combined answer. Until then it is in. Decide it under protocol\\_decisions in study.toml: "
        "keep or exclude, with the reason."
    )


def _rules(study: Study, one: Standing) -> str:
    names = {rule.id: rule.what for rule in study.protocol}
    return listed([names.get(rule, rule) for rule in one.rules]) if one.rules else ""
