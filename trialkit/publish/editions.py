"""Editions: copies of a study in which private names never stood, to be rendered as any other.

An edition is rendered anew from such a copy. Rewriting finished pages could not reach the names
that are drawn into figures; in a copy that never held them, nothing is left to reach.
"""

import csv
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Literal

from trialkit.errors import TrialkitError
from trialkit.intake.corrections import CORRECTIONS_FILE
from trialkit.publish.coded_tables import (
    coded_corrections,
    coded_mappings,
    coded_tables,
    observers,
)
from trialkit.publish.privacy import Names, codes_of, cooperators, names_to_take_out
from trialkit.publish.toml_text import toml_text
from trialkit.study import STUDY_FILE, Study
from trialkit.study.fresh import study_name

Kind = Literal["cooperator", "public", "funder"]
KINDS: Final = ("cooperator", "public", "funder")
AS_STATED: Final = ("authors",)
_PRIVATE_OF_A_SITE: Final = ("cooperator", "position")


@dataclass(frozen=True)
class Edition:
    """One edition: its folder's name, what it says of itself, which sites it names."""

    key: str
    words: str
    names: Names
    named: frozenset[str]


def editions_of(study: Study, kind: Kind) -> tuple[Edition, ...]:
    """Return the editions of a kind: one, or for cooperators one for each of them."""
    people, every = observers(study), frozenset(site.id for site in study.sites)
    stations = every - codes_of(study).keys()
    if kind == "funder":
        words = "Funder's edition: every site is named, no person is."
        return (Edition(kind, words, names_to_take_out(study, every, people), every),)
    if kind == "public":
        words = "Public edition: cooperating farms stand under codes; no person is named."
        return (Edition(kind, words, names_to_take_out(study, stations, people), stations),)
    made = []
    for key, own in cooperators(study).items():
        named = stations | set(own)
        told = ", ".join(study.site(site).name for site in own)
        words = f"Edition for {told}: the other farms stand under codes; no person is named."
        names = names_to_take_out(study, named, people)
        made.append(Edition(f"cooperator/{key}", words, names, named))
    return tuple(made)


def write_copy(study: Study, edition: Edition, folder: Path) -> None:
    """Write the edition's copy of the study: its description and its data, private names gone.

    Only columns that trialkit knows are copied, without observers and notes; comments, other
    files and whatever stands above a header stay behind.
    """
    codes = {farm: code for farm, code in codes_of(study).items() if farm not in edition.named}
    folder.mkdir(parents=True)
    told = tomllib.loads((study.folder / STUDY_FILE).read_text(encoding="utf-8-sig"))
    coded = _coded(_without_private(told), edition.names)
    # Authors want to be named, also where the data name them as observers.
    coded |= {key: told[key] for key in AS_STATED if key in told}
    coded["name"] = coded_name(study, edition.names)
    coded |= {"intake": coded_mappings(study)} if study.intake else {}
    # In the order of the codes, for the order of the list would tell who is who.
    coded["sites"].sort(key=lambda site: (site["id"] in codes.values(), site["id"]))
    (folder / STUDY_FILE).write_text(toml_text(coded), encoding="utf-8")
    copied = coded_tables(study, codes, folder, edition.names)
    if (study.folder / CORRECTIONS_FILE).is_file():
        with (folder / CORRECTIONS_FILE).open("w", encoding="utf-8", newline="") as stream:
            csv.writer(stream).writerows(coded_corrections(study, copied, edition.names))
    _copy_narrative(study.folder, folder, edition.names)


def coded_name(study: Study, names: Names) -> str:
    """Return the study's short name with private names taken out, still fit to be one."""
    taken_out = names.taken_out(study.name)
    return study.name if taken_out == study.name else study_name(taken_out)


def _without_private(told: dict[str, Any]) -> dict[str, Any]:
    sites = [
        {key: value for key, value in site.items() if key not in _PRIVATE_OF_A_SITE}
        for site in told["sites"]
    ]
    return {**told, "sites": sites}


def _coded(value: Any, names: Names) -> Any:
    """Every text of the study's description, keys too, with the private names taken out."""
    if isinstance(value, str):
        return names.taken_out(value)
    if isinstance(value, list):
        return [_coded(one, names) for one in value]
    if isinstance(value, dict):
        return {names.taken_out(key): _coded(one, names) for key, one in value.items()}
    return value


def _copy_narrative(source: Path, target: Path, names: Names) -> None:
    for path in sorted((source / "narrative").rglob("*.md")):
        place = target / names.taken_out(path.relative_to(source).as_posix())
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(names.taken_out(path.read_text(encoding="utf-8")), encoding="utf-8")


def require_no_name(edition: Edition, data: bytes, what: str) -> None:
    """Raise TrialkitError when a finished file still holds a private name; it is not handed out."""
    found = edition.names.found_in(data)
    if found:
        raise TrialkitError(
            f"{what}::: the page still says '{found}', which is private in this edition, so "
            "nothing was handed out. Take the name out of the study's texts or the narrative."
        )
