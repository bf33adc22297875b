"""The condition of a claim in trade words: ``netting lowers flea_beetle_days by at least 30 %``."""

import re
from dataclasses import dataclass
from typing import Final, Literal

from trialkit.errors import TrialkitError
from trialkit.narrative.facts import Facts
from trialkit.narrative.names import nearest

Verb = Literal[
    "lowers", "raises", "improves", "worsens", "does not change", "is not settled for", "pays",
    "does not pay", "may pay", "returns more than", "is recommended with conditions",
    "is recommended", "needs more testing", "is not recommended",
]  # fmt: skip
Extent = Literal["", "at every site", "in every season"]

MONEY: Final[tuple[Verb, ...]] = ("pays", "does not pay", "may pay")
ADVICE: Final[tuple[Verb, ...]] = (
    "is recommended with conditions", "is recommended", "needs more testing", "is not recommended",
)  # fmt: skip
_VERBS: Final[tuple[Verb, ...]] = (
    "lowers", "raises", "improves", "worsens", "does not change", "is not settled for",
    "returns more than", *MONEY, *ADVICE,
)  # fmt: skip
_EXTENTS: Final[tuple[Extent, ...]] = ("at every site", "in every season")
WORTHWHILE: Final = "by a worthwhile amount"
_AT_LEAST: Final = re.compile(
    r"\s*\bby at least (?P<number>\d[\d,]*(?:\.\d+)?|\.\d+)\s*(?P<unit>\S.*)$"
)
_FORM: Final = re.compile(
    rf"^(?P<treatment>\S+) (?P<verb>{'|'.join(_VERBS)})(?: (?P<measure>\S+))?(?P<rest>.*)$"
)
GRAMMAR: Final = (
    "Write TREATMENT lowers MEASURE, or raises, improves, worsens, does not change, "
    "is not settled for; or TREATMENT pays, does not pay, may pay, returns more than OTHER; or "
    "TREATMENT is recommended, is recommended with conditions, needs more testing, is not "
    "recommended. After the first four may stand 'by at least 30 %' or "
    f"'{WORTHWHILE}', and at the end 'at every site' or 'in every season'"
)


@dataclass(frozen=True)
class Condition:
    """A condition that findings can meet.

    least, unit : the amount of "by at least", in the unit that people read.
    worthwhile  : the whole interval must lie beyond the smallest worthwhile difference.
    extents     : where it must hold site-season by site-season.
    other       : the treatment of "returns more than".
    """

    treatment: str
    verb: Verb
    measure: str = ""
    least: float | None = None
    unit: str = ""
    worthwhile: bool = False
    extents: tuple[Extent, ...] = ()
    other: str = ""


def read_condition(written: str, facts: Facts) -> Condition:
    """Read a condition; raises TrialkitError that says what is wrong and offers what is near.

    ``facts`` gives the treatments and measures that may be named.
    """
    rest, extents = _split_extents(" ".join(written.split()))
    form = _FORM.match(rest)
    if form is None:
        raise TrialkitError(f"the condition '{written}' cannot be read. {GRAMMAR}.")
    verb: Verb = form["verb"]  # type: ignore[assignment]
    treatment = _known(form["treatment"], list(facts.treatments), "treatment")
    _not_the_check(treatment, facts)
    if verb in MONEY or verb in ADVICE:
        if form["measure"] or form["rest"]:
            raise TrialkitError(f"nothing may stand after '{verb}' in '{written}'.")
        return Condition(treatment, verb, extents=extents)
    if verb == "returns more than":
        other = _known(form["measure"] or "", list(facts.treatments), "treatment")
        return Condition(treatment, verb, extents=extents, other=other)
    measure = _known(form["measure"] or "", list(facts.measures), "measure")
    return _with_amount(Condition(treatment, verb, measure, extents=extents), form["rest"], written)


def _split_extents(text: str) -> tuple[str, tuple[Extent, ...]]:
    found: list[Extent] = []
    while extent := next((one for one in _EXTENTS if text.endswith(f" {one}")), None):
        found.insert(0, extent)
        text = text.removesuffix(f" {extent}").removesuffix(" and").rstrip(",")
    return text, tuple(found)


def _with_amount(plain: Condition, rest: str, written: str) -> Condition:
    if not rest.strip():
        return plain
    if plain.verb in ("lowers", "raises", "improves", "worsens"):
        if rest.strip() == WORTHWHILE:
            return Condition(**{**plain.__dict__, "worthwhile": True})
        amount = _AT_LEAST.match(rest)
        if amount:
            least = float(amount["number"].replace(",", ""))
            return Condition(**{**plain.__dict__, "least": least, "unit": _unit(amount["unit"])})
    raise TrialkitError(f"'{rest.strip()}' cannot be read in '{written}'. {GRAMMAR}.")


def _unit(written: str) -> str:
    named = {"%": "percent", "percent": "percent", "point": "points", "percentage points": "points"}
    return named.get(written.strip(), written.strip())


def _known(given: str, known: list[str], what: str) -> str:
    if given in known:
        return given
    near = nearest(given, known)
    offer = f"Nearest are: {', '.join(near)}" if near else f"Known are: {', '.join(known)}"
    raise TrialkitError(f"there is no {what} '{given}'. {offer}.")


def _not_the_check(treatment: str, facts: Facts) -> None:
    if treatment == facts.check:
        raise TrialkitError(
            f"'{treatment}' is the untreated check, and every claim is against it. "
            "Name a treatment."
        )
