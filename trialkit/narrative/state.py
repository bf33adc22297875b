"""What was agreed at the last render: every text, where it came from, what its writer saw."""

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Final

from trialkit.errors import TrialkitError
from trialkit.narrative.pieces import Piece, Story

FORMAT: Final = 1


@dataclass(frozen=True)
class Quoted:
    """A value as it stood when a person last edited the text that quotes it."""

    text: str
    number: float | None = None


@dataclass(frozen=True)
class Agreed:
    """One text as agreed.

    template  : what the template said (None: a text that a person added).
    by_person : True for a person's own words; the template never replaces these.
    deleted   : a person took the template's text out; it stays out.
    quoted    : name as written in the text -> value that the person saw.
    """

    name: str
    text: str
    template: str | None = None
    by_person: bool = False
    deleted: bool = False
    quoted: Mapping[str, Quoted] = field(default_factory=dict)


@dataclass(frozen=True)
class State:
    """The narrative of one report as agreed, and what each place held when it was agreed.

    order          : names in order, fixed points included.
    template_order : the same as the template had it.
    file_seen, notebook_seen : what the text file and the notebook held just before. They tell a
                     render that was killed half-way from a person's edit.
    notebook       : which notebook was seen; reports may be rendered into several folders.
    past           : stamps of the states of before, so that an older notebook is known as such.
    """

    texts: tuple[Agreed, ...] = ()
    order: tuple[str, ...] = ()
    template_order: tuple[str, ...] = ()
    file_seen: Story | None = None
    notebook_seen: Story | None = None
    notebook: str = ""
    past: tuple[str, ...] = ()

    @property
    def story(self) -> Story:
        """Texts and fixed points in order."""
        shown = {one.name: one.text for one in self.texts if not one.deleted}
        return tuple(Piece(name, shown.get(name)) for name in self.order)

    @cached_property
    def stamp(self) -> str:
        """Identifies what was agreed, whatever was seen before."""
        agreed: list[list[Any]] = [[piece.name, piece.text] for piece in self.story]
        agreed += [[one.name, one.template, one.by_person, one.deleted] for one in self.texts]
        return hashlib.sha256(json.dumps(agreed).encode()).hexdigest()[:16]

    @property
    def by_name(self) -> dict[str, Agreed]:
        """Agreed texts by name, deleted ones included."""
        return {one.name: one for one in self.texts}

    @property
    def has_own_words(self) -> bool:
        """True when a person wrote, moved or took out anything."""
        moved = [n for n in self.order if n in self.template_order] != list(self.template_order)
        return moved or any(one.by_person for one in self.texts)

    def with_quoted(self, quoted: Mapping[str, Mapping[str, Quoted]]) -> "State":
        """The same state in which the named texts quote these values."""
        return replace(
            self,
            texts=tuple(
                replace(one, quoted=dict(quoted[one.name])) if one.name in quoted else one
                for one in self.texts
            ),
        )

    @property
    def settled(self) -> "State":
        """The same state once it stands in every place: what was seen before is of no use then."""
        return replace(self, file_seen=None, notebook_seen=None, notebook="")

    def to_dict(self) -> dict[str, Any]:
        """Return the state as plain data."""
        return {
            "format": FORMAT,
            "texts": [_agreed_to_dict(one) for one in self.texts],
            "order": list(self.order),
            "template_order": list(self.template_order),
            "file_seen": _story_to_list(self.file_seen),
            "notebook_seen": _story_to_list(self.notebook_seen),
            "notebook": self.notebook,
            "past": list(self.past),
        }

    def to_bytes(self) -> bytes:
        """Return the state as it stands in its file."""
        return (json.dumps(self.to_dict(), indent=1, ensure_ascii=False) + "\n").encode()


def state_from(told: Mapping[str, Any]) -> State:
    """A state from plain data; raises ValueError, KeyError or TypeError where it is none."""
    return State(
        texts=tuple(_agreed(one) for one in told["texts"]),
        order=tuple(told["order"]),
        template_order=tuple(told["template_order"]),
        file_seen=_story(told["file_seen"]),
        notebook_seen=_story(told["notebook_seen"]),
        notebook=told["notebook"],
        past=tuple(told["past"]),
    )


def read_state(content: bytes, place: str) -> State:
    """Read a state from its file; raises TrialkitError where the file is not one."""
    try:
        return state_from(json.loads(content))
    except (ValueError, KeyError, TypeError):
        raise TrialkitError(
            f"{place}::: this is not a state of the narrative. Restore it from your versions, or "
            "delete it: the texts themselves stand in the file beside it and in the notebook."
        ) from None


def _agreed_to_dict(one: Agreed) -> dict[str, Any]:
    quoted = {name: {"text": q.text, "number": q.number} for name, q in one.quoted.items()}
    return {**one.__dict__, "quoted": quoted}


def _story_to_list(story: Story | None) -> list[list[str | None]] | None:
    return None if story is None else [[piece.name, piece.text] for piece in story]


def _agreed(told: Mapping[str, Any]) -> Agreed:
    quoted = {name: Quoted(**one) for name, one in told["quoted"].items()}
    return Agreed(**{**told, "quoted": quoted})


def _story(told: Sequence[Sequence[Any]] | None) -> Story | None:
    return None if told is None else tuple(Piece(name, text) for name, text in told)
