"""Which reports are due, and why: everything that can change a report, by name and checksum."""

import json
import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from trialkit import __version__
from trialkit.batch.correction_lines import corrections_by_place
from trialkit.batch.files import digest, digest_of
from trialkit.batch.own_code import OwnCode
from trialkit.batch.record import (
    NOTEBOOK,
    PAGE,
    Record,
    read_failure,
    read_record,
    still_as_described,
)
from trialkit.batch.study_parts import StudyParts, parts_of
from trialkit.batch.targets import Target
from trialkit.batch.templates import Template
from trialkit.batch.words import ABSENT, FACTS, names_of
from trialkit.study import Study

LIBRARIES = (
    "ipykernel matplotlib mistune nbconvert nbformat nh3 numpy openpyxl pandas pandera papermill "
    "pingouin pint pydantic scipy seaborn statsmodels"
)
VERSION = "version of "
CORRECTIONS, COSTS = "corrections.csv", "costs.csv"


@dataclass(frozen=True)
class Standing:
    """How one report stands: what it depends on now and why it is due (nothing: it is not).

    ``verdicts`` are those of its last render. Of the rest of the record nothing is held: a study
    may have a thousand reports.
    """

    target: Target
    inputs: Mapping[str, str]
    reasons: tuple[str, ...]
    verdicts: tuple[Mapping[str, str], ...] = ()

    @property
    def is_due(self) -> bool:
        """True when the report must be rendered."""
        return bool(self.reasons)


def versions() -> dict[str, str]:
    """Return the versions of Python, trialkit and the libraries that can move a number."""
    libraries = {name: _version(name) for name in LIBRARIES.split()}
    own = {"python": platform.python_version(), "trialkit": __version__}
    return {**own, **libraries}


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return ABSENT


def surroundings(template: Template, code: OwnCode) -> dict[str, str]:
    """Return what all reports of one template depend on: the notebook, trialkit, the libraries."""
    named = {f"{VERSION}{name}": version for name, version in versions().items()}
    own = {"trialkit's own code": code.meaning}
    return {f"notebook {template.path.name}": digest(template.meaning.encode()), **own, **named}


def versions_in(inputs: Mapping[str, str]) -> dict[str, str]:
    """Return the versions among what a report depends on, by name."""
    return {
        name.removeprefix(VERSION): value
        for name, value in inputs.items()
        if name.startswith(VERSION)
    }


@dataclass(frozen=True)
class StudyInputs:
    """What the reports of a study depend on in its folder, as far as it is read once for all."""

    study: Study
    parts: StudyParts
    corrections: Mapping[tuple[int, str], str]

    @classmethod
    def of(cls, study: Study) -> "StudyInputs":
        """Read it."""
        path = study.folder / CORRECTIONS
        return cls(study, parts_of(study), corrections_by_place(path, study.site_seasons()))

    def of_site_season(self, target: Target) -> dict[str, str]:
        """Return what the report of a site-season depends on."""
        assert target.season is not None
        assert target.site is not None
        folder = self.study.folder / "data" / target.key
        return {
            **self.parts.of(target),
            CORRECTIONS: self.corrections[target.season, target.site],
            **self._texts(names_of(target)),
            **{f"data/{target.key}/{name}": value for name, value in _files_in(folder)},
        }

    def of_whole_study(self, target: Target, findings: Mapping[str, str]) -> dict[str, str]:
        """Return what a report on the whole study depends on: findings and costs, no field file."""
        texts = self._texts((CORRECTIONS, COSTS, *names_of(target)))
        return {**self.parts.of(target), **texts, **findings}

    def _texts(self, names: Iterable[str]) -> dict[str, str]:
        return {name: _digest_or_absent(self.study.folder / name) for name in names}


def standing_of(
    target: Target, inputs: Mapping[str, str], folder: Path, force: bool = False
) -> Standing:
    """Compare what a report depends on now with the record of its last render."""
    record = read_record(folder)
    reasons = ["asked for with --force"] if force else []
    if read_failure(folder):
        reasons.append("its last render failed")
    elif record is None:
        reasons.append("it was never rendered")
    if record is not None:
        reasons.extend(_moved(record.inputs, inputs))
        reasons.extend(_outputs_moved(record, folder))
    return Standing(target, inputs, tuple(reasons), tuple(record.verdicts) if record else ())


def _files_in(folder: Path) -> Iterable[tuple[str, str]]:
    if not folder.is_dir():
        return [("", ABSENT)]
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return [
        (path.relative_to(folder).as_posix(), digest_of(path))
        for path in paths
        if not path.name.startswith((".", "~$"))
    ]


def _digest_or_absent(path: Path) -> str:
    return digest_of(path) if path.is_file() else ABSENT


def findings_in(record: Record | None) -> str:
    """Return a checksum of all that a finished report handed on."""
    if record is None:
        return ABSENT
    handed_on = sorted(
        (name, about["sha256"])
        for name, about in record.outputs.items()
        if name not in (PAGE, NOTEBOOK, FACTS)
    )
    return digest(json.dumps(handed_on).encode())


def _moved(before: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    def words(name: str) -> str:
        old, new = before.get(name, ABSENT), now.get(name, ABSENT)
        if ABSENT in (old, new):
            return f"{name} is {'new' if old == ABSENT else 'gone'}"
        return f"{name}: {old} then, {new} now" if name.startswith(VERSION) else f"{name} changed"

    names = sorted({*before, *now})
    return [words(name) for name in names if before.get(name, ABSENT) != now.get(name, ABSENT)]


def _outputs_moved(record: Record, folder: Path) -> list[str]:
    return [
        f"{name} is {'not as it was written' if (folder / name).is_file() else 'missing'}"
        for name, described in record.outputs.items()
        if not still_as_described(folder / name, described)
    ]
