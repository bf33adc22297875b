"""Which reports are due, and why: everything that can change a report, by name and checksum."""

import json
import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from trialkit import __version__
from trialkit.batch.files import digest, digest_of
from trialkit.batch.record import (
    NOTEBOOK,
    PAGE,
    Record,
    read_failure,
    read_record,
    still_as_described,
)
from trialkit.batch.resources import PACKAGE
from trialkit.batch.targets import Target
from trialkit.batch.templates import Template
from trialkit.batch.words import ABSENT, FACTS, names_of
from trialkit.study import Study

LIBRARIES = (
    "ipykernel matplotlib mistune nbconvert nbformat nh3 numpy openpyxl pandas pandera papermill "
    "pingouin pint pydantic scipy seaborn statsmodels"
)
OF_ARCHIVES_ONLY = ("licence", "authors", "citation", "archive")
OWN_FILES = {".py", ".j2", ".css", ".json", ".toml", ".html"}
CORRECTIONS, COSTS = "corrections.csv", "costs.csv"
MONEY = "economics"  # the part of study.toml that no report of a single site-season shows


@dataclass(frozen=True)
class Standing:
    """How one report stands: what it depends on now and why it is due (nothing: it is not)."""

    target: Target
    inputs: Mapping[str, str]
    reasons: tuple[str, ...]
    record: Record | None

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


def own_code() -> str:
    """Return one checksum over all files of trialkit itself."""
    paths = sorted(path for path in PACKAGE.rglob("*") if path.suffix in OWN_FILES)
    listed = [(path.relative_to(PACKAGE).as_posix(), digest_of(path)) for path in paths]
    return digest(json.dumps(listed).encode())


def surroundings(template: Template) -> dict[str, str]:
    """Return what all reports of one template depend on: the notebook, trialkit, the libraries."""
    named = {f"version of {name}": version for name, version in versions().items()}
    code = {"trialkit's own code": own_code()}
    return {f"notebook {template.path.name}": digest(template.meaning.encode()), **code, **named}


def site_season_inputs(target: Target, study: Study) -> dict[str, str]:
    """Return what the report of a site-season depends on in the study folder."""
    folder = study.folder / "data" / target.key
    texts = (CORRECTIONS, *names_of(target))
    return {
        **_study_parts(study, target),
        **{name: _digest_or_absent(study.folder / name) for name in texts},
        **{f"data/{target.key}/{name}": value for name, value in _files_in(folder)},
    }


def whole_study_inputs(
    target: Target, study: Study, records: Mapping[Target, Record | None]
) -> dict[str, str]:
    """Return what a report on the whole study depends on: findings and costs, no field file."""
    handed_on = {
        f"findings of {one.title}": _findings_in(record) for one, record in records.items()
    }
    texts = (CORRECTIONS, COSTS, *names_of(target))
    return {
        **_study_parts(study, None),
        **{name: _digest_or_absent(study.folder / name) for name in texts},
        **handed_on,
    }


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
    return Standing(target, inputs, tuple(reasons), record)


def _study_parts(study: Study, target: Target | None) -> dict[str, str]:
    """Checksum of each part of study.toml that reaches the report; comments never do."""
    parts: dict[str, Any] = study.model_dump(mode="json", exclude=set(OF_ARCHIVES_ONLY))
    if target is not None:
        # A report shows its own site and season only; who else takes part is not its matter.
        parts["sites"] = [site for site in parts["sites"] if site["id"] == target.site]
        parts["seasons"] = [
            {**season, "sites": []}
            for season in parts["seasons"]
            if season["year"] == target.season
        ]
        del parts[MONEY]
        parts["protocol_decisions"] = [
            one
            for one in parts["protocol_decisions"]
            if (one["season"], one["site"]) == (target.season, target.site)
        ]
    return {
        f"study.toml: {part}": digest(json.dumps(content).encode())
        for part, content in parts.items()
    }


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


def _findings_in(record: Record | None) -> str:
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
        return f"{name}: {old} then, {new} now" if name.startswith("version") else f"{name} changed"

    names = sorted({*before, *now})
    return [words(name) for name in names if before.get(name, ABSENT) != now.get(name, ABSENT)]


def _outputs_moved(record: Record, folder: Path) -> list[str]:
    return [
        f"{name} is {'not as it was written' if (folder / name).is_file() else 'missing'}"
        for name, described in record.outputs.items()
        if not still_as_described(folder / name, described)
    ]
