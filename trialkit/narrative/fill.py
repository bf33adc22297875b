"""Filling a text: numbers put in, claims judged, whatever cannot stand marked for all to see."""

import html
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from trialkit.errors import TrialkitError, sentence
from trialkit.narrative.claims import LABELS, Claim, judge_claim, placed
from trialkit.narrative.facts import Facts
from trialkit.narrative.names import Lookup, look_up, nearest
from trialkit.narrative.roles import Role, replace_roles, roles_in

# Markup that the page's sanitiser lets through; the label says in words what the class shows.
_MARKED: Final = (
    '<span class="claim unsupported">{text} <strong class="mark">[{label}: {note}]</strong></span>'
)
_WRONG: Final = '<span class="claim unsupported"><strong class="mark">[{note}]</strong></span>'


@dataclass(frozen=True)
class Wrong:
    """A role that cannot be filled in: the line of its text, what is wrong and what to do."""

    line: int
    what: str


@dataclass(frozen=True)
class Filled:
    """A text as the page shows it, and what was met on the way.

    quoted : what the text quotes, as written -> the value.
    """

    markdown: str
    claims: tuple[Claim, ...] = ()
    quoted: Mapping[str, Lookup] | None = None
    wrong: tuple[Wrong, ...] = ()


class _Filling:
    """One pass over one text."""

    def __init__(self, facts: Facts, cell: str) -> None:
        self.facts, self.cell = facts, cell
        self.claims: list[Claim] = []
        self.quoted: dict[str, Lookup] = {}
        self.wrong: list[Wrong] = []

    def written(self, role: Role) -> str:
        if role.name == "eval":
            return self._value(role)
        if role.name == "claim":
            return self._claim(role)
        return self._sentences(role)

    def _value(self, role: Role) -> str:
        try:
            found = look_up(role.content, self.facts)
        except TrialkitError as error:
            return self._cannot(role, str(error))
        self.quoted[role.content] = found
        return _plain(found.text)

    def _claim(self, role: Role) -> str:
        inner = replace_roles(role.words, self.written)
        if not role.target:
            return self._cannot(
                role, "a claim ends with its condition, such as <netting lowers flea_beetle_days>"
            )
        claim = placed(
            judge_claim(html.unescape(inner), role.target, self.facts), self.cell, role.line
        )
        self.claims.append(claim)
        if claim.is_supported:
            return inner
        label, note = LABELS[claim.standing], _plain(claim.note)
        return _MARKED.format(text=inner, label=label, note=note)

    def _sentences(self, role: Role) -> str:
        if role.content not in self.facts.sentences:
            return self._cannot(role, _unknown_sentences(role.content, self.facts))
        return replace_roles(self.facts.sentences[role.content], self.written)

    def _cannot(self, role: Role, what: str) -> str:
        self.wrong.append(Wrong(role.line, sentence(what)))
        return _WRONG.format(note=_plain(sentence(what)))


def fill(text: str, facts: Facts, cell: str = "") -> Filled:
    """Fill in the roles of one text; what is unknown stays visible and is told as wrong."""
    filling = _Filling(facts, cell)
    markdown = replace_roles(text, filling.written)
    return Filled(markdown, tuple(filling.claims), filling.quoted, tuple(filling.wrong))


def expand_sentences(text: str, facts: Facts) -> str:
    """Put the default sentences where a template asks for them, their own roles still in them."""

    def written(role: Role) -> str:
        if role.name == "sentences" and role.content in facts.sentences:
            return facts.sentences[role.content]
        return role.source

    if not any(role.name == "sentences" for role in roles_in(text)):
        return text
    return replace_roles(text, written)


def _unknown_sentences(name: str, facts: Facts) -> str:
    near = nearest(name, list(facts.sentences)) or list(facts.sentences)
    return f"there are no default sentences '{name}'. Known are: {', '.join(near) or 'none'}"


def _plain(text: str) -> str:
    """Text that stays text in Markdown and HTML."""
    return html.escape(text, quote=False).replace("*", "&#42;").replace("_", "&#95;")
