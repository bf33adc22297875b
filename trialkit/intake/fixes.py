"""Corrections that are safe to offer: entries that can be meant in one way only."""

import csv
import datetime as dt
import io
import os
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Final

from trialkit.errors import DataError, Fault
from trialkit.intake.cells import lookalike_number, text_code
from trialkit.intake.corrections import COLUMNS, CORRECTIONS_FILE, Correction, read_corrections
from trialkit.intake.dates import read_dates, readings_of
from trialkit.intake.header import bare_name
from trialkit.intake.row_offers import repeated_row_offers
from trialkit.intake.study_intake import StudyIntake
from trialkit.intake.text_file import decoded, delimiter_of
from trialkit.study import Season, Study

_COMMA: Final = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_GROUPED: Final = re.compile(r"[+-]?\d{1,3}(,\d{3})+", re.ASCII)


def offered_corrections(study: Study, intake: StudyIntake) -> tuple[Correction, ...]:
    """Return a correction for each error that can be mended in one way only, unsigned.

    Decimal commas (not where they may part thousands), letters for digits, a date with only one
    reading in season, words typed for "no value", and ids that differ from one declared id by
    capitals, blanks and dashes only, and a row of a table whose rows cannot repeat that says the
    same as another one. Nothing is written.
    """
    offers: list[Correction] = []
    for one in intake.site_seasons:
        offers += repeated_row_offers(study, one)
        for fault in one.errors:
            now = _mended(fault, study, study.season(one.season))
            if now is not None:
                offers.append(_offer(fault, study, now))
    return tuple(offers)


def write_corrections(
    study: Study, chosen: Iterable[Correction], *, who: str, when: dt.date
) -> tuple[Correction, ...]:
    """Add corrections to corrections.csv, signed, and return those that were written.

    A cell or row that a line there corrects already is passed over. The file appears whole or stays
    as it was. Raises DataError where what stands there cannot be read.
    """
    path = study.folder / CORRECTIONS_FILE
    there = read_corrections(study)
    if there.faults:
        raise DataError(there.faults)
    known = {(c.file, c.row, bare_name(c.column)) for c in there.lines if not c.is_answer}
    fresh = [c for c in chosen if (c.file, c.row, bare_name(c.column)) not in known]
    signed = tuple(replace(line, who=who, when=when.isoformat()) for line in fresh)
    if signed:
        _put(path, _with_lines(path, signed))
    return signed


def _with_lines(path: Path, lines: Iterable[Correction]) -> str:
    """Return the text of the file with lines added, in its own columns and delimiter."""
    before = decoded(path.read_bytes())[0] or "" if path.is_file() else ""
    delimiter = delimiter_of(before, COLUMNS) if before else ","
    header = next(csv.reader(io.StringIO(before), delimiter=delimiter), [])
    added = io.StringIO()
    ending = "\r\n" if "\r\n" in before else "\n"
    writer = csv.writer(added, delimiter=delimiter, lineterminator=ending)
    if not header:
        writer.writerow(COLUMNS)
    for line in lines:
        cells = {name: getattr(line, name) or "" for name in COLUMNS}
        writer.writerow([cells.get(bare_name(name), "") for name in header or COLUMNS])
    parting = "" if not before or before.endswith("\n") else ending
    return f"{before}{parting}{added.getvalue()}"


def _put(path: Path, text: str) -> None:
    fresh = path.with_name(f".{path.name}.new")
    fresh.write_text(text, encoding="utf-8", newline="")
    os.replace(fresh, path)


def _offer(fault: Fault, study: Study, now: str) -> Correction:
    file = fault.file.removeprefix(f"{study.folder.as_posix()}/")
    return Correction(file, fault.row, "", fault.column, fault.value, now, why=fault.what)


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
