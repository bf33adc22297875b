"""What `trialkit check` says of the narrative: numbers typed where a name would follow the data."""

from pathlib import Path

from trialkit.batch.targets import Target, targets_of, whole_study_of
from trialkit.batch.words import FACTS, Places, facts_at, notebook_at, text_at, text_name, text_of
from trialkit.errors import Fault
from trialkit.narrative.bare_numbers import BareNumber, bare_numbers
from trialkit.narrative.cells import read_notebook
from trialkit.narrative.facts import Facts
from trialkit.narrative.pieces import Story, texts_of
from trialkit.narrative.text_file import from_file, line_of
from trialkit.study import Study


def typed_numbers(study: Study, reports: Path) -> tuple[Fault, ...]:
    """Notes on every number that was typed beside a percent sign or a unit.

    Only reports that were rendered can be checked, for only these have values to compare with.
    """
    targets = (*targets_of(study), *whole_study_of(study))
    return tuple(fault for target in targets for fault in _of_report(target, study, reports))


def _of_report(target: Target, study: Study, reports: Path) -> list[Fault]:
    folder = target.folder(reports)
    places = Places(study.folder, target.key, folder)
    facts = facts_at(folder / FACTS)
    if facts is None:
        return []
    file = text_at(places.file)
    faults = _in_file(file, target, facts) if file is not None else []
    notebook = notebook_at(places.notebook)
    if notebook is None:
        return faults
    known = texts_of(from_file(file)) if file is not None else {}
    story = tuple(p for p in read_notebook(notebook, ()).story if known.get(p.name) != p.text)
    return faults + _in_story(story, text_of(places.notebook), facts)


def _in_file(content: str, target: Target, facts: Facts) -> list[Fault]:
    return [
        _note(text_name(target.key), line_of(content, name) + 1 + one.line, name, one)
        for name, text in texts_of(from_file(content)).items()
        for one in bare_numbers(text, facts)
    ]


def _in_story(story: Story, place: str, facts: Facts) -> list[Fault]:
    return [
        _note(place, 0, name, one)
        for name, text in texts_of(story).items()
        for one in bare_numbers(text, facts)
    ]


def _note(file: str, row: int, cell: str, found: BareNumber) -> Fault:
    remedy = "Give it a name from the last cell of the notebook, so that it follows the data"
    if found.name:
        remedy = f"Write {{eval}}`{found.name}` (now {found.now}) so that it follows the data"
    what = f"'{found.written}' is typed as it is"
    return Fault(file, row, cell, what, remedy, "typed_number", "note", found.written)
