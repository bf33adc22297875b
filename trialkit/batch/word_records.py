"""What a record says of the narrative and of the render before, and reading it back."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from trialkit.batch.files import write_whole
from trialkit.batch.record import read_record
from trialkit.batch.targets import Target
from trialkit.batch.words import FACTS, facts_at, state_at, state_name
from trialkit.errors import TrialkitError
from trialkit.narrative.changes import (
    Cause,
    Move,
    cause_words,
    causes,
    move_words,
    moved_findings,
)
from trialkit.narrative.facts import Facts, effects_from, plain
from trialkit.narrative.stale import confirmed
from trialkit.narrative.weave import Woven


@dataclass(frozen=True)
class Words:
    """What is amiss with the narrative of one report.

    claims : unsupported claims, as plain records of text, condition, standing, note, cell, line.
    faults : everything there is to tell, one line each; ``errors`` are those that block.
    """

    target: Target
    claims: tuple[Mapping[str, Any], ...] = ()
    faults: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()


@dataclass(frozen=True)
class Changes:
    """What moved in one report since the render before, and what moved it."""

    target: Target
    moves: tuple[Move, ...]
    causes: tuple[Cause, ...]
    facts: Facts
    before: str = ""


def change_lines(changes: Changes) -> list[str]:
    """The changes of one report as lines to read, flipped verdicts first."""
    moves = [move_words(move, changes.facts) for move in changes.moves]
    lines = [f"  {line}" for line in moves or ["no finding moved"]]
    told = [f"  - {line}" for line in cause_words(changes.causes)] or ["  - nothing"]
    head = f"{changes.target.title}, since the render of {changes.before}:"
    return [head, *lines, "  What changed to move them:" if moves else "  What changed:", *told]


def changes_dict(changes: Changes) -> dict[str, Any]:
    """The changes of one report as plain data."""
    return {
        "report": changes.target.key,
        "since": changes.before,
        "findings": [
            {
                "measure": move.one.measure,
                "treatment": move.one.treatment,
                "flipped": move.flipped,
                "before": move.before and plain(move.before),
                "after": move.after and plain(move.after),
            }
            for move in changes.moves
        ],
        "causes": {cause.kind: list(cause.names) for cause in changes.causes},
    }


def words_record(woven: Woven) -> dict[str, Any]:
    """What the record keeps of a narrative that is amiss; empty where nothing is."""
    told = {
        "claims": [asdict(claim) for claim in woven.unsupported],
        "faults": [
            {"text": str(fault), "severity": fault.severity, "code": fault.code}
            for fault in woven.faults
        ],
    }
    return told if any(told.values()) else {}


def words_of(target: Target, reports: Path) -> Words:
    """What the record of a report says of its narrative."""
    record = read_record(target.folder(reports))
    told = record.words if record else {}
    faults = told.get("faults", [])
    return Words(
        target,
        tuple(told.get("claims", ())),
        tuple(one["text"] for one in faults),
        tuple(one["text"] for one in faults if one["severity"] == "error"),
    )


def effects_record(facts: Facts | None) -> list[dict[str, Any]]:
    """Effects as plain data."""
    return [] if facts is None else [plain(effect) for effect in facts.effects]


def before_record(folder: Path) -> dict[str, Any]:
    """What the record keeps of the one that it replaces; empty for the first one."""
    record = read_record(folder)
    if record is None:
        return {}
    return {
        "rendered": record.rendered,
        "inputs": dict(record.inputs),
        "effects": list(record.effects),
    }


def changes_of(target: Target, reports: Path) -> Changes | None:
    """What moved in a report since the render before; None where there was none."""
    folder = target.folder(reports)
    record, facts = read_record(folder), facts_at(folder / FACTS)
    if record is None or facts is None or not record.before:
        return None
    before = record.before
    return Changes(
        target=target,
        moves=moved_findings(effects_from(before["effects"]), effects_from(record.effects)),
        causes=causes(before["inputs"], record.inputs),
        facts=facts,
        before=before["rendered"],
    )


def confirm_words(
    target: Target, study: Path, reports: Path, cells: tuple[str, ...] = ()
) -> tuple[str, ...]:
    """Say that edited texts still fit the numbers of the last render; returns their names.

    ``cells`` chooses texts, all edited ones when it is empty. Raises TrialkitError where one is not
    there or the report was never rendered.
    """
    path = study / state_name(target.key)
    state, facts = state_at(path), facts_at(target.folder(reports) / FACTS)
    if state is None:
        return ()
    if facts is None:
        raise TrialkitError(f"{target.title} was never rendered. Run `trialkit render` first.")
    new = confirmed(state, facts, cells)
    write_whole(path, new.to_bytes())
    return tuple(
        one.name
        for one, other in zip(state.texts, new.texts, strict=True)
        if one.quoted != other.quoted
    )
