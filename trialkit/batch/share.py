"""Editions to hand out: each rendered from a copy of the study without private names."""

import os
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path

from trialkit.batch.index import write_index
from trialkit.batch.progress import Watcher
from trialkit.batch.record import RECORD
from trialkit.batch.run import Request, render
from trialkit.batch.targets import chosen_targets
from trialkit.errors import TrialkitError
from trialkit.publish.editions import Edition, Kind, editions_of, require_no_name, write_copy
from trialkit.study import Study, read_study

PAGES = "*.html"


def share(request: Request, kind: Kind, watcher: Watcher | None = None) -> tuple[Path, ...]:
    """Write the editions of a kind under ``request.out``; return their index pages.

    Reports that were made before are brought up to date first, so that words edited in a notebook
    since are in the edition too. An edition appears whole or not at all, and only its pages are
    handed out. Raises TrialkitError when a page would name what the edition must not, or when words
    wait for a decision.
    """
    study = read_study(request.study)
    _take_in_words(study, request, watcher)
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


def _take_in_words(study: Study, request: Request, watcher: Watcher | None) -> None:
    """Bring the study's own reports up to date: it alone reads what stands in their notebooks."""
    reports, every = request.out / study.name, chosen_targets(study, None, None, across=False)
    if any((one.folder(reports) / RECORD).is_file() for one in every):
        summary = render(replace(request, season=None, site=None), watcher)
        if undecided := [line for words in summary.undecided for line in words.errors]:
            raise TrialkitError("\n".join(undecided))


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
