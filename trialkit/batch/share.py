"""Editions to hand out: each rendered from a copy of the study without private names."""

import os
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from trialkit.batch.index import write_index
from trialkit.batch.progress import Watcher
from trialkit.batch.run import Request, render
from trialkit.publish.editions import Edition, Kind, editions_of, require_no_name, write_copy
from trialkit.study import read_study

PAGES = "*.html"


def share(request: Request, kind: Kind, watcher: Watcher | None = None) -> tuple[Path, ...]:
    """Write the editions of a kind under ``request.out``; return their index pages.

    An edition appears whole or not at all, and only its pages are handed out. Raises TrialkitError
    when a page would name what the edition must not.
    """
    study = read_study(request.study)
    made = []
    for edition in editions_of(study, kind):
        folder = request.out / study.name / "editions" / edition.key
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=".making-") as making:
            copy = Path(making) / "study"
            write_copy(study, edition, copy)
            coded = replace(request, study=copy, out=Path(making) / "reports")
            _render(coded, edition, watcher)
            pages = _pages(Path(making), edition)
            _put_in_place(pages, folder)
        made.append(folder / "index.html")
    return tuple(made)


def _render(request: Request, edition: Edition, watcher: Watcher | None) -> None:
    summary = render(replace(request, season=None, site=None, force=True), watcher)
    write_index(summary.study, summary.index.parent, frozenset(), edition.words)


def _pages(making: Path, edition: Edition) -> Path:
    """The finished pages alone, each of them looked through."""
    (reports,) = (making / "reports").iterdir()
    pages = making / "pages"
    for path in sorted(reports.rglob(PAGES)):
        data = path.read_bytes()
        place = path.relative_to(reports)
        require_no_name(edition, data + place.as_posix().encode(), place.as_posix())
        (pages / place).parent.mkdir(parents=True, exist_ok=True)
        (pages / place).write_bytes(data)
    return pages


def _put_in_place(pages: Path, folder: Path) -> None:
    old = pages.parent / "old"
    if folder.exists():
        os.replace(folder, old)
    os.replace(pages, folder)
    shutil.rmtree(old, ignore_errors=True)
