"""From an executed notebook to the finished one: people's words kept, numbers in, claims judged."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

from trialkit.errors import Fault
from trialkit.narrative.cells import (
    NotebookText,
    page_notebook,
    read_notebook,
    template_story,
    with_preview,
    write_notebook,
)
from trialkit.narrative.claims import LABELS, Claim
from trialkit.narrative.facts import Facts
from trialkit.narrative.merge import IN_FILE, IN_NOTEBOOK, Merged, Side, Told, merge
from trialkit.narrative.pieces import Story, texts_of
from trialkit.narrative.shown import Shown, show, show_fixed, with_sentences
from trialkit.narrative.stale import Moved, quoted_in
from trialkit.narrative.state import State
from trialkit.narrative.text_file import from_file, line_of, to_file

CLAIM: Final = "claim"
LONGEST_PAST: Final = 200


@dataclass(frozen=True)
class Before:
    """What is there when a report is finished.

    state    : what was agreed at the last render, None where nobody wrote anything yet.
    notebook : the rendered notebook, None for the first time; ``called`` tells it from others.
    file     : the text file, None where there is none.
    facts    : the facts that the writer had at hand.
    """

    state: State | None = None
    notebook: Mapping[str, Any] | None = None
    called: str = ""
    file: str | None = None
    facts: Facts | None = None


@dataclass(frozen=True)
class Woven:
    """The finished notebook, the notebook as the page shows it, and what to keep and to tell.

    file and state are to be written in this order: state, file, notebook, ``state.settled``. A
    render killed between any two of them is told from a person's edit by the next one.
    """

    notebook: dict[str, Any]
    page: dict[str, Any]
    state: State
    file: str
    claims: tuple[Claim, ...] = ()
    faults: tuple[Fault, ...] = ()

    @property
    def unsupported(self) -> tuple[Claim, ...]:
        """Claims that the data do not support."""
        return tuple(claim for claim in self.claims if not claim.is_supported)


def weave(executed: Mapping[str, Any], facts: Facts, before: Before, place: str) -> Woven:
    """Merge, fill in, judge; ``place`` names the report, such as ``2025/alder_bench``."""
    executed = with_sentences(executed, facts)
    template = template_story(executed)
    read = read_notebook(before.notebook, template) if before.notebook else None
    agreed = before.state or (read.written if read else None)
    merged = merge(template, agreed, sides_of(before, read, template))
    state = _new_state(merged, template, before, read, facts)
    file = to_file(state.story, place)
    shown = show(state, facts)
    texts = {**show_fixed(executed, facts), **shown.texts}
    notebook = with_preview(write_notebook(executed, state, before.notebook), texts)
    claims = tuple(claim for one in shown.filled.values() for claim in one.claims)
    told = _Faults(f"narrative/{place}.md", file).all(merged.told, read, shown)
    return Woven(notebook, page_notebook(notebook, texts), state, file, claims, told)


def sides_of(before: Before, read: NotebookText | None, template: Story) -> list[Side]:
    """The places where people write, each with what in it is no person's doing."""
    state = before.state
    written = read.written if read else None
    arrived = state is not None and written is not None and written.stamp == state.stamp
    sides = []
    if read is not None:
        sides.append(Side(read.story, _own_in_notebook(before, read, template), IN_NOTEBOOK))
    if before.file is not None and (story := from_file(before.file)):
        sides.append(Side(story, _own_in_file(state or written, arrived, story, template), IN_FILE))
    return sides


def _own_in_notebook(before: Before, read: NotebookText, template: Story) -> tuple[Story, ...]:
    state, written = before.state, read.written
    if written is None:
        return (_only(template, read.story),)
    killed = state is not None and state.stamp != written.stamp and state.notebook == before.called
    if state is not None and killed and state.notebook_seen is not None:
        return (state.notebook_seen,)
    if state is not None and written.stamp not in (state.stamp, *state.past):
        # Of another line of renders: a person's words in it were never seen by this one.
        own = {one.name for one in written.texts if one.by_person}
        return (tuple(piece for piece in written.story if piece.name not in own),)
    return (written.story,)


def _own_in_file(
    agreed: State | None, arrived: bool, now: Story, template: Story
) -> tuple[Story, ...]:
    if agreed is None:
        return (_only(template, now),)
    seen = agreed.file_seen
    # What was agreed may be what had been agreed two renders ago: the notebook of then looks as if
    # the last render had arrived. A file that stands as it was seen tells that it had not.
    if seen is None or (arrived and now != seen):
        return (agreed.story,)
    return (agreed.story, seen)


def _only(template: Story, story: Story) -> Story:
    """The template's texts as far as a place has them: what it never had was not taken out."""
    present = texts_of(story)
    return tuple(p for p in template if not p.is_text or p.name in present)


def _new_state(
    merged: Merged, template: Story, before: Before, read: NotebookText | None, facts: Facts
) -> State:
    old = before.state or (read.written if read else None) or State()
    quoted = {}
    for one in merged.texts:
        known = old.by_name.get(one.name)
        fresh = one.name in merged.edited or known is None or not known.by_person
        if one.by_person and not one.deleted:
            seen = quoted_in(one.text, facts, before.facts if fresh else None)
            quoted[one.name] = seen if fresh or known is None else {**seen, **known.quoted}
    state = State(
        texts=merged.texts,
        order=merged.order,
        template_order=tuple(piece.name for piece in template),
        file_seen=from_file(before.file) if before.file is not None else None,
        notebook_seen=read.story if read else None,
        notebook=before.called,
    )
    return replace(state.with_quoted(quoted), past=_past(old, state))


def _past(old: State, new: State) -> tuple[str, ...]:
    known = [stamp for stamp in (*old.past, old.stamp) if stamp != new.stamp]
    return tuple(dict.fromkeys(known))[-LONGEST_PAST:]


class _Faults:
    """What there is to tell, each with its line in the text file."""

    def __init__(self, path: str, file: str) -> None:
        self.path, self.file = path, file

    def all(
        self,
        told: Iterable[Told],
        read: NotebookText | None,
        shown: Shown,
    ) -> tuple[Fault, ...]:
        faults = [self._merged(one) for one in told]
        faults += [self._stray(name) for name in (read.strays if read else ())]
        for name, one in shown.filled.items():
            faults += [self._at(name, w.line, w.what, "", "role", "error") for w in one.wrong]
            faults += [self._claim(claim) for claim in one.claims if not claim.is_supported]
        return (*faults, *map(self._moved, shown.moved))

    def _merged(self, told: Told) -> Fault:
        severity = "error" if told.kind == "decision" else "note"
        return self._at(told.name, 0, told.what, told.remedy, told.kind, severity)

    def _stray(self, name: str) -> Fault:
        what = "a code cell was added in the notebook; a render runs the template's cells only"
        remedy = "Its code is kept as text: delete it here, or move it to a notebook of your own"
        return self._at(name, 0, what, remedy, "stray", "note")

    def _claim(self, claim: Claim) -> Fault:
        what = f"{LABELS[claim.standing].lower()}: '{claim.condition}'. {claim.note}"
        remedy = "Change the sentence, or its condition"
        return self._at(claim.cell, claim.line, what, remedy, CLAIM, "question")

    def _moved(self, moved: Moved) -> Fault:
        what = f"{moved.name} was {moved.before} when this was written and is {moved.now} now"
        remedy = "Edit the text, or run `trialkit confirm` where the words still fit"
        return self._at(moved.cell, 0, what, remedy, "stale", "note")

    def _at(
        self, name: str, line: int, what: str, remedy: str, code: str, severity: Any
    ) -> Fault:  # fmt: skip
        marker = line_of(self.file, name)
        row = marker + 1 + line if marker and line else marker
        return Fault(self.path, row, name, what, remedy, code, severity)
