"""Merging what the template says, what was agreed before, and what people wrote in two places.

Nothing that a person wrote is thrown away: where two people, or one person in two places, changed
the same text, both versions stay in it between marker lines until somebody keeps one.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

from trialkit.narrative.order import Arrangement, merged_order
from trialkit.narrative.pieces import Piece, Story, names_of, texts_of, without_repeats
from trialkit.narrative.state import Agreed, State

FIRST: Final = (
    "[[ two versions of this text; keep one and delete the marker lines: this one is {} ]]"
)
SECOND: Final = "[[ this one is {} ]]"
END: Final = "[[ end of the two versions ]]"
IN_FILE: Final = "from the text file"
IN_NOTEBOOK: Final = "from the notebook"
AGREED: Final = "from the last render"

Kind = Literal["decision", "template", "added", "order", "note"]


@dataclass(frozen=True)
class Side:
    """One place in which people write: what it holds, and texts that are not a person's doing.

    unedited : stories that trialkit itself wrote, or had already read, there.
    """

    now: Story
    unedited: tuple[Story, ...]
    called: str


@dataclass(frozen=True)
class Told:
    """Something to tell about one text; a "decision" is waited for."""

    kind: Kind
    name: str
    what: str
    remedy: str = ""


@dataclass(frozen=True)
class Merged:
    """The agreed texts in order, which of them people edited now, and what there is to tell."""

    texts: tuple[Agreed, ...]
    order: tuple[str, ...]
    edited: frozenset[str]
    told: tuple[Told, ...]


@dataclass(frozen=True)
class _Edit:
    """What one place did to one text: its text now (None: taken out), and the text of before."""

    text: str | None
    before: frozenset[str]
    called: str


def merge(template: Story, state: State | None, sides: Sequence[Side]) -> Merged:
    """Merge three ways, text by text; ``sides`` are the places at hand, the notebook first."""
    said, agreed = texts_of(template), _agreed_clear_of_outputs(state, template)
    sides = [_clear_of_outputs(side, template) for side in sides]
    edits = [_edits_of(side) for side in sides]
    told: list[Told] = []
    texts = [
        _merged_text(name, said.get(name), agreed.get(name), _all_of(name, edits), told)
        for name in _names(template, agreed, edits)
    ]
    kept = tuple(one for one in texts if one is not None)
    return Merged(
        texts=kept,
        order=_order(template, state, sides, kept, told),
        edited=frozenset(name for edit in edits for name in edit),
        told=(*told, *_undecided(kept, told)),
    )


def has_two_versions(text: str) -> bool:
    """True while a text holds two versions that wait for a decision."""
    return any(line.startswith(FIRST.split("{", 1)[0]) for line in text.split("\n"))


def _clear_of_outputs(side: Side, template: Story) -> Side:
    """A person's text that is called like an output gets a name of its own."""
    fixed = _fixed(template)

    def clear(story: Story) -> Story:
        return without_repeats(
            Piece(_clear(piece.name, fixed), piece.text) if piece.is_text else piece
            for piece in story
        )

    return Side(clear(side.now), tuple(map(clear, side.unedited)), side.called)


def _agreed_clear_of_outputs(state: State | None, template: Story) -> dict[str, Agreed]:
    fixed = _fixed(template)
    renamed = [replace(one, name=_clear(one.name, fixed)) for one in state.texts] if state else []
    return {one.name: one for one in renamed}


def _clear(name: str, fixed: frozenset[str]) -> str:
    return f"{name}-text" if name in fixed else name


def _fixed(template: Story) -> frozenset[str]:
    return frozenset(piece.name for piece in template if not piece.is_text)


def _edits_of(side: Side) -> dict[str, _Edit]:
    """Texts that a person changed, added or took out in one place."""
    now, known = texts_of(side.now), [texts_of(story) for story in side.unedited]
    edits = {}
    for name, text in now.items():
        before = frozenset(story[name] for story in known if name in story)
        if text not in before:
            edits[name] = _Edit(text, before, side.called)
    for name in {name for story in known for name in story} - set(now):
        if all(name in story for story in known):
            before = frozenset(story[name] for story in known)
            edits[name] = _Edit(None, before, side.called)
    return edits


def _all_of(name: str, edits: Iterable[Mapping[str, _Edit]]) -> list[_Edit]:
    return [edit[name] for edit in edits if name in edit]


def _names(
    template: Story, agreed: Mapping[str, Agreed], edits: Iterable[Mapping[str, _Edit]]
) -> list[str]:
    ordered = [*texts_of(template), *agreed]
    for edit in edits:
        ordered += sorted(edit)
    return list(dict.fromkeys(ordered))


def _merged_text(
    name: str, template: str | None, agreed: Agreed | None, edits: list[_Edit], told: list[Told]
) -> Agreed | None:
    """The text of one name; None where nobody wants it any more."""
    if not edits:
        return _untouched(name, template, agreed, told)
    versions = _versions(agreed, edits)
    if not versions:
        return _taken_out(name, template, agreed)
    if len({edit.text for edit in edits}) > len(versions) and any(e.text is None for e in edits):
        told.append(
            Told("note", name, "it was edited in one place and taken out in another; it stays")
        )
    _tell_of_template(name, template, agreed, told)
    text = versions[0][1] if len(versions) == 1 else _both(versions)
    return Agreed(name, text, template, by_person=text != template)


def _versions(agreed: Agreed | None, edits: Sequence[_Edit]) -> list[tuple[str, str]]:
    """Different texts that people want, each with where it comes from; the file's first."""
    wanted = {edit.text: edit.called for edit in reversed(edits) if edit.text is not None}
    own_words = agreed is not None and agreed.by_person and not agreed.deleted
    if agreed and own_words and any(edit.before != {agreed.text} for edit in edits):
        # Agreed elsewhere in the meantime, or a render was killed before it was written here:
        # whoever edits now may never have seen it.
        wanted = {agreed.text: AGREED, **wanted}
    return [(called, text) for text, called in wanted.items()]


def _both(versions: Sequence[tuple[str, str]]) -> str:
    """One text that holds every version between marker lines."""
    parts = []
    for number, (called, text) in enumerate(versions):
        parts += [(SECOND if number else FIRST).format(called), text]
    return "\n\n".join([*parts, END])


def _untouched(
    name: str, template: str | None, agreed: Agreed | None, told: list[Told]
) -> Agreed | None:
    if agreed is None:
        return None if template is None else Agreed(name, template, template)
    if not agreed.by_person:
        return None if template is None else Agreed(name, template, template)
    _tell_of_template(name, template, agreed, told)
    if agreed.deleted:
        return _taken_out(name, template, agreed)
    still_own = agreed.text != template
    return Agreed(name, agreed.text, template, still_own, quoted=agreed.quoted)


def _taken_out(name: str, template: str | None, agreed: Agreed | None) -> Agreed | None:
    """A text of the template stays on the list, so that the next render does not bring it back."""
    if template is None:
        return None
    last = agreed.text if agreed else template
    return Agreed(name, last, template, by_person=True, deleted=True)


def _tell_of_template(
    name: str, template: str | None, agreed: Agreed | None, told: list[Told]
) -> None:
    if agreed is None or agreed.template == template or agreed.template is None:
        return
    what = "the default text changed; the text in the report is a person's and stays"
    if template is None:
        what = "the template has this text no longer; it is a person's and stays"
    elif agreed.deleted:
        what = "the default text changed; a person took it out, and out it stays"
    now = f"The default text says now: {_in_one_line(template)}" if template else ""
    told.append(Told("template", name, what, now))


def _in_one_line(text: str, longest: int = 300) -> str:
    line = " ".join(text.split())
    return line if len(line) <= longest else f"{line[:longest]} …"


def _undecided(texts: Sequence[Agreed], told: Sequence[Told]) -> list[Told]:
    return [
        Told(
            "decision",
            one.name,
            "two versions of this text wait for a decision",
            "Keep one and delete the marker lines, in the text file or in the notebook",
        )
        for one in texts
        if not one.deleted and has_two_versions(one.text)
    ]


def _order(
    template: Story,
    state: State | None,
    sides: Sequence[Side],
    texts: Sequence[Agreed],
    told: list[Told],
) -> tuple[str, ...]:
    places = [_arrangement(side) for side in sides]
    moved = [place for place in places if place.moved]
    if len(moved) > 1 and moved[0].now != moved[1].now:
        told.append(
            Told(
                "order", "", "texts were moved in the notebook and in the file; the notebook leads"
            )
        )
    agreed = Arrangement(state.order, state.template_order) if state else Arrangement((), ())
    return merged_order(
        names_of(template),
        _fixed(template),
        frozenset(one.name for one in texts if not one.deleted),
        agreed,
        places,
    )


def _arrangement(side: Side) -> Arrangement:
    """The order now against the order of before that it is nearest to."""
    now = tuple(names_of(side.now))
    known = [Arrangement(now, tuple(names_of(story))) for story in side.unedited]
    return next((one for one in known if not one.moved), (known or [Arrangement(now, ())])[0])
