"""The index page of a study: every report, how it stands, what it found, what to mend."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from trialkit.publish.frame import TEMPLATES, policy, style
from trialkit.study import Study

Status = Literal["ready", "stale", "due", "old", "failed"]
STATUS_WORDS = {
    "ready": "Up to date",
    "stale": "Out of date; render again",
    "due": "Not rendered yet",
    "old": "Could not be brought up to date; the page is that of an earlier render",
    "failed": "Could not be rendered",
}
ORDER = ("worthwhile", "some effect", "no worthwhile difference", "not settled")


@dataclass(frozen=True)
class VerdictLine:
    """The verdict of one treatment against the check for one measure."""

    measure: str
    treatment: str
    verdict: str
    direction: str = "none"


@dataclass(frozen=True)
class ClaimLine:
    """A claim of the narrative that the data do not support: sentence, how it stands, why."""

    text: str
    standing: str
    note: str


@dataclass(frozen=True)
class IndexEntry:
    """One report on the index; ``season`` and ``site`` are None for one on the whole study.

    ``title`` names a report on the whole study; a site's report goes by the name of the site.
    """

    season: int | None
    site: str | None
    href: str
    status: Status
    faults: tuple[str, ...] = ()
    notebook: str = ""
    verdicts: tuple[VerdictLine, ...] = ()
    claims: tuple[ClaimLine, ...] = ()
    title: str = "Across all sites and seasons"


@dataclass(frozen=True)
class Card:
    """What the index shows of one report."""

    title: str
    entry: IndexEntry
    status: str
    found: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...]


def index_page(study: Study, entries: Sequence[IndexEntry], edition: str = "") -> str:
    """Return the index page of a study as self-contained HTML; ``edition`` says for whom it is."""
    across = [_card(entry, study) for entry in entries if entry.season is None]
    years = sorted({entry.season for entry in entries if entry.season is not None}, reverse=True)
    groups = [(str(year), [_card(e, study) for e in entries if e.season == year]) for year in years]
    view: dict[str, Any] = {
        "study": study,
        "edition": edition,
        "across": across,
        "groups": groups,
        "tally": _tally(entries),
        "style": style(),
        "policy": policy(),
    }
    return _template().render(page=view)


@lru_cache(maxsize=1)
def _template() -> Template:
    loader = FileSystemLoader(TEMPLATES)
    environment = Environment(
        loader=loader, autoescape=True, trim_blocks=True, undefined=StrictUndefined
    )
    return environment.get_template("index.html.j2")


def _card(entry: IndexEntry, study: Study) -> Card:
    title = entry.title if entry.site is None else study.site(entry.site).name
    return Card(title, entry, STATUS_WORDS[entry.status], tuple(_found(entry.verdicts, study)))


def _found(
    lines: Iterable[VerdictLine], study: Study
) -> Iterable[tuple[str, tuple[tuple[str, str, str], ...]]]:
    lines = tuple(lines)
    for measure in (measure for measure in study.measures if measure.primary):
        rows = tuple(
            (verdict, _words(verdict, direction), ", ".join(names))
            for verdict in ORDER
            for direction in ("better", "worse", "none")
            if (names := _treatments(lines, study, measure.id, verdict, direction))
        )
        if rows:
            yield measure.name, rows


def _treatments(
    lines: Sequence[VerdictLine], study: Study, measure: str, verdict: str, direction: str
) -> list[str]:
    """Names of the treatments with this verdict; direction counts only where there is an effect."""
    with_effect = verdict in ORDER[:2]
    return [
        study.treatment(line.treatment).label
        for line in lines
        if (line.measure, line.verdict) == (measure, verdict)
        and (line.direction if with_effect else "none") == direction
    ]


def _words(verdict: str, direction: str) -> str:
    words = verdict.capitalize()
    return f"{words}, {direction} than the check" if direction in ("better", "worse") else words


def _tally(entries: Sequence[IndexEntry]) -> str:
    ready = sum(entry.status == "ready" for entry in entries)
    total = f"{len(entries)} report{'s' if len(entries) != 1 else ''}"
    if ready == len(entries):
        return f"{total}, all up to date."
    failed = sum(entry.status in ("old", "failed") for entry in entries)
    waiting = len(entries) - ready - failed
    parts = [f"{ready} up to date"]
    parts += [f"{failed} in need of mending"] if failed else []
    parts += [f"{waiting} to be rendered"] if waiting else []
    return f"{total}: {', '.join(parts)}."
