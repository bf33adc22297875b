"""The study as an archive holds it: as handed in, or coded, private names gone."""

import re
import shutil
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Final

from trialkit.publish.archive.contents import require_portable
from trialkit.publish.editions import Edition, editions_of, write_copy
from trialkit.publish.privacy import Names
from trialkit.study import STUDY_FILE, Author, Study

PRIVATE: Final = "private"
_BESIDE: Final = (STUDY_FILE, "costs.csv", "corrections.csv")
_FOLDERS: Final = ("data", "narrative")
_PRIVATE: Final = "Private archive: people, farms and places are named. Not to be handed on."
_CODED: Final = "Archive: cooperating farms stand under codes; no person but the authors is named."


def edition_of_archive(study: Study, private: bool) -> Edition:
    """Return what an archive says of itself, which sites it names, and what it must not say."""
    if private:
        every = frozenset(site.id for site in study.sites)
        return Edition(PRIVATE, _PRIVATE, Names({}), every)
    (edition,) = editions_of(study, "public")
    return replace(edition, words=_CODED)


def copy_study(study: Study, edition: Edition, folder: Path) -> None:
    """Write the archive's copy of a study.

    Raises StudyError when a file's name could not be unpacked on every system.
    """
    if edition.key == PRIVATE:
        _copy_as_handed_in(study.folder, folder)
    else:
        write_copy(study, edition, folder)


def said_by_nobody(study: Study, names: Names) -> Names:
    """Return the names that no file of the archive may say: authors are named on purpose."""
    return replace(names, said=_but_authors(names.said, study.authors))


def _copy_as_handed_in(source: Path, target: Path) -> None:
    """Copy the description and every file of the data and the narrative, byte by byte."""
    beside = [source / name for name in _BESIDE if (source / name).is_file()]
    inside = [path for name in _FOLDERS for path in sorted((source / name).rglob("*"))]
    names = [
        path.relative_to(source).as_posix()
        for path in (*beside, *inside)
        if path.is_file() and not _is_passing(path.relative_to(source))
    ]
    require_portable(names, source.as_posix())
    for name in names:
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source / name, target / name)


def _is_passing(path: Path) -> bool:
    """Hidden files, and the locks that office programs leave beside an open workbook."""
    return any(part.startswith((".", "~$")) for part in path.parts)


def _but_authors(said: Mapping[str, str], authors: Iterable[Author]) -> dict[str, str]:
    """Authors want to be named, also where they observed or farmed."""
    known = {_words(name) for one in authors for name in (one.name, one.affiliation)}
    return {name: word for name, word in said.items() if _words(name) not in known}


def _words(name: str) -> tuple[str, ...]:
    return tuple(sorted(re.findall(r"\w+", name.casefold())))
