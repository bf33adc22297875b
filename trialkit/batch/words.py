"""People's words around a render: read before it, merged into its outcome, kept beside the study.

The order of writes is state, text file, notebook, settled state. Whatever a render that is killed
leaves behind, the next one tells its own half-written work from a person's edit.
"""

import json
import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from trialkit.batch.files import digest, write_whole
from trialkit.batch.record import NOTEBOOK
from trialkit.batch.targets import Target
from trialkit.errors import TrialkitError
from trialkit.narrative.facts import Facts, read_facts
from trialkit.narrative.state import State, read_state
from trialkit.narrative.weave import Before, Woven, weave

FACTS: Final = "facts.json"
FOLDER: Final = "narrative"
ABSENT: Final = "absent"
TRIES: Final = 5
NO_FACTS: Final = Facts(across=False, level=0.95, check="", treatments={}, measures={})


@dataclass(frozen=True)
class Places:
    """Where the words of one report stand."""

    study: Path
    key: str
    report: Path

    @property
    def file(self) -> Path:
        """The text file that people may edit."""
        return self.study / text_name(self.key)

    @property
    def state(self) -> Path:
        """What was agreed at the last render."""
        return self.study / state_name(self.key)

    @property
    def notebook(self) -> Path:
        """The rendered notebook that people may edit."""
        return self.report / NOTEBOOK

    @property
    def called(self) -> str:
        """The notebook as seen from the study; a study may be rendered into several folders."""
        try:
            return Path(os.path.relpath(self.notebook, self.study)).as_posix()
        except ValueError:  # another drive
            return self.notebook.as_posix()

    @property
    def facts(self) -> Path:
        """The facts of the report that people have at hand."""
        return self.report / FACTS


def text_name(key: str) -> str:
    """Name of a report's text file within the study, such as ``narrative/2025/alder_bench.md``."""
    return f"{FOLDER}/{key}.md"


def state_name(key: str) -> str:
    """Name of the state beside a report's text file."""
    return f"{FOLDER}/{key}.state.json"


def names_of(target: Target) -> tuple[str, str]:
    """Both files of a report that its narrative depends on."""
    return text_name(target.key), state_name(target.key)


@contextmanager
def kept(places: Places) -> Iterator["Keeper"]:
    """Merge and keep words while no other render of the study does, into whatever folder."""
    with _alone(places.study / FOLDER):
        yield Keeper(places)


class Keeper:
    """Reads the words of one report and keeps them; used through :func:`kept`."""

    def __init__(self, places: Places) -> None:
        self.places = places
        self._seen: dict[Path, bytes | None] = {}

    def woven(self, executed: Mapping[str, Any], new_facts: Path) -> Woven:
        """Merge what people wrote into an executed notebook and fill it in."""
        places = self.places
        self._seen = {path: _bytes(path) for path in (places.state, places.file, places.notebook)}
        state, file, notebook = self._seen.values()
        before = Before(
            state=read_state(state, text_of(places.state)) if state is not None else None,
            notebook=_notebook(notebook, places.notebook),
            called=places.called,
            file=_text(file, places.file),
            facts=_old_facts(places.facts),
        )
        facts = facts_at(new_facts) or NO_FACTS
        return weave(executed, facts, before, places.key)

    @property
    def overtaken(self) -> bool:
        """True when somebody saved one of the files since they were read."""
        return any(_bytes(path) != content for path, content in self._seen.items())

    def write(self, woven: Woven) -> dict[str, str]:
        """Keep state and text file; returns what the report depends on now, by name.

        Nothing is written for a study in which nobody wrote anything, unless its folder
        ``narrative`` is there and so asks for it.
        """
        if not self._is_wanted(woven):
            return {text_name(self.places.key): ABSENT, state_name(self.places.key): ABSENT}
        write_whole(self.places.state, woven.state.to_bytes())
        write_whole(self.places.file, woven.file.encode())
        return {
            text_name(self.places.key): digest(woven.file.encode()),
            state_name(self.places.key): digest(woven.state.settled.to_bytes()),
        }

    def settle(self, woven: Woven) -> None:
        """Say that the notebook stands in its place as well."""
        if self._is_wanted(woven):
            write_whole(self.places.state, woven.state.settled.to_bytes())

    def _is_wanted(self, woven: Woven) -> bool:
        there = (self.places.study / FOLDER).is_dir()
        return there or woven.state.has_own_words


def facts_at(path: Path) -> Facts | None:
    """Facts of a report, None where it has none; raises TrialkitError for a file that is none."""
    content = _bytes(path)
    return None if content is None else read_facts(content, text_of(path))


def state_at(path: Path) -> State | None:
    """State of a report's narrative, None where nobody wrote anything."""
    content = _bytes(path)
    return None if content is None else read_state(content, text_of(path))


def notebook_at(path: Path) -> dict[str, Any] | None:
    """A rendered notebook, None where there is none; raises TrialkitError in words."""
    return _notebook(_bytes(path), path)


def text_at(path: Path) -> str | None:
    """A text file of the narrative, None where there is none; raises TrialkitError in words."""
    return _text(_bytes(path), path)


def text_of(path: Path) -> str:
    """A path as faults show it."""
    return path.as_posix()


def _old_facts(path: Path) -> Facts | None:
    """Facts of the render before; those of another version say nothing about what people saw."""
    try:
        return facts_at(path)
    except TrialkitError:
        return None


def _bytes(path: Path) -> bytes | None:
    return path.read_bytes() if path.is_file() else None


def _notebook(content: bytes | None, path: Path) -> dict[str, Any] | None:
    if content is None:
        return None
    try:
        notebook = json.loads(content)
        if not isinstance(notebook.get("cells"), list):
            raise ValueError
    except (ValueError, AttributeError):
        raise TrialkitError(
            f"{text_of(path)}::: this is not a notebook, so the words in it cannot be read. Save "
            "it again in JupyterLab, or move it away; nothing was overwritten."
        ) from None
    return dict(notebook)


def _text(content: bytes | None, path: Path) -> str | None:
    try:
        return None if content is None else content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise TrialkitError(
            f"{text_of(path)}::: the file is not UTF-8 text. Save it as UTF-8 in your editor; "
            "nothing was overwritten."
        ) from None


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Wait until no other process keeps words in this folder, where the system can say so."""
    if os.name != "posix" or not folder.is_dir():
        yield
        return
    import fcntl

    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
