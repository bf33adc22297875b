"""Corrections that are safe to offer: entries that can be meant in one way only."""

import csv
import datetime as dt
import io
import os
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Final

from trialkit.errors import Fault
from trialkit.intake.cells import lookalike_number, text_code
from trialkit.intake.corrections import COLUMNS, CORRECTIONS_FILE, Correction, read_corrections
from trialkit.intake.dates import read_dates, readings_of
from trialkit.intake.study_intake import StudyIntake
from trialkit.study import Season, Study

_COMMA: Final = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED: Final = re.compile(r"[+-]?\d{1,3}(,\d{3})+", re.ASCII)


def offered_corrections(study: Study, intake: StudyIntake) -> tuple[Correction, ...]:
    """Return a correction for each error that can be mended in one way only, unsigned.

    Decimal commas (not where they may part thousands), letters for digits, a date with only one
    reading in season, words typed for "no value", and ids that differ from one declared id by
    capitals, blanks and dashes only. Nothing is written.
    """
    offers = []
    for one in intake.site_seasons:
        for fault in one.errors:
            now = _mended(fault, study, study.season(one.season))
            if now is not None:
                offers.append(_offer(fault, study, now))
    return tuple(offers)


def write_corrections(
    study: Study, chosen: Iterable[Correction], *, who: str, when: dt.date
) -> Path:
    """Add corrections to corrections.csv, signed; the file appears whole or stays as it was."""
    path = study.folder / CORRECTIONS_FILE
    before = path.read_text(encoding="utf-8-sig") if path.is_file() else ""
    header = next(csv.reader(io.StringIO(before)), list(COLUMNS))
    text = io.StringIO()
    writer = csv.DictWriter(text, header, extrasaction="ignore", lineterminator="\n")
    if not before:
        writer.writeheader()
    known = {(c.file, c.row, c.column) for c in read_corrections(study).lines if not c.is_answer}
    for line in chosen:
        if (line.file, line.row, line.column) not in known:
            row = {name: getattr(line, name) for name in COLUMNS}
            writer.writerow(row | {"who": who, "when": when.isoformat()})
    parting = "" if not before or before.endswith("\n") else "\n"
    fresh = path.with_name(f".{path.name}.new")
    fresh.write_text(f"{before}{parting}{text.getvalue()}", encoding="utf-8")
    os.replace(fresh, path)
    return path


def _offer(fault: Fault, study: Study, now: str) -> Correction:
    file = fault.file.removeprefix(f"{study.folder.as_posix()}/")
    why = f"{fault.what}"
    return Correction(file, fault.row, "", fault.column, fault.value, now, why=why)


def _mended(fault: Fault, study: Study, season: Season) -> str | None:
    mend = _MENDS.get(fault.code)
    if mend is not None and fault.row and fault.value:
        return mend(fault.value, season)
    known = _declared(study).get(fault.code)
    return _same_word(fault.value, known) if known and fault.row else None


def _decimal_point(text: str, season: Season) -> str | None:
    if not _COMMA.fullmatch(text) or _GROUPED.fullmatch(text):
        return None
    return text.replace(",", ".")


def _digits(text: str, season: Season) -> str | None:
    return lookalike_number(text)


def _nothing(text: str, season: Season) -> str | None:
    return "" if text_code(text) else None


def _only_date_in_season(text: str, season: Season) -> str | None:
    inside = {day for day in readings_of(text) if season.first_date <= day <= season.last_date}
    return inside.pop().isoformat() if len(inside) == 1 else None


def _swapped_date(text: str, season: Season) -> str | None:
    date = read_dates([text], season)[0].date
    if date is None or date.day > 12:
        return None
    other = dt.date(date.year, date.day, date.month)
    return other.isoformat() if season.first_date <= other <= season.last_date else None


def _declared(study: Study) -> dict[str, Sequence[str]]:
    return {
        "unknown_treatment": study.treatment_ids,
        "unknown_organism": [item.id for item in study.organisms],
        "unknown_stage": [stage for item in study.organisms for stage in item.stages],
        "unknown_cull_cause": [item.id for item in study.cull_causes],
        "unknown_rating": [item.id for item in study.ratings],
        "unknown_event": study.events,
        "unknown_grade": ("marketable", "cull"),
    }


def _same_word(text: str, known: Iterable[str]) -> str | None:
    same = {one for one in known if _bare(one) == _bare(text)}
    return same.pop() if len(same) == 1 else None


def _bare(text: str) -> str:
    return re.sub(r"[\s_\-]+", "_", text.strip().casefold())


_MENDS: Final[dict[str, Callable[[str, Season], str | None]]] = {
    "decimal_comma": _decimal_point,
    "text_in_number": _digits,
    "missing_code": _nothing,
    "ambiguous_date": _only_date_in_season,
    "swapped_date": _swapped_date,
}
