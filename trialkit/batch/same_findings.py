"""Whether the reports of an archive's copy say the same as those of the study itself."""

import csv
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from trialkit.batch.record import FINDINGS
from trialkit.batch.run import Summary
from trialkit.errors import TrialkitError
from trialkit.publish.privacy import Names

_TOLERANCE: Final = 1e-6


def require_same_findings(own: Summary, copied: Summary, names: Names) -> None:
    """Raise TrialkitError when a finding of the copy is not that of the study.

    Findings of a site-season must be equal to the last digit. Those of the whole study may differ
    beyond the sixth, for a coded study lists its sites in another order.
    """
    for report, other in _pairs(own, names):
        here = own.index.parent / report / FINDINGS
        there = copied.index.parent / other / FINDINGS
        moved = _first_that_moved(here, there, names, exact="/" in report)
        if moved:
            raise TrialkitError(
                f"{report}::: {moved}, so nothing was archived. The archive's copy of the "
                "study is not read as the study is; run trialkit check on it, and report this."
            )


def _pairs(own: Summary, names: Names) -> Iterator[tuple[str, str]]:
    """Place of every report of the study, and of the same report of its copy."""
    reports = (*(outcome.target for outcome in own.outcomes), *own.not_due)
    for report in reports:
        if report.is_across:
            yield report.key, report.key
        else:
            yield report.key, f"{report.season}/{names.ids.get(str(report.site), report.site)}"


def _first_that_moved(here: Path, there: Path, names: Names, *, exact: bool) -> str:
    """What differs first between two files of findings, or nothing."""
    if here.is_file() != there.is_file():
        return "its report could be rendered from one only of the study and its archived copy"
    if not here.is_file() or here.read_bytes() == there.read_bytes():
        return ""
    old, new = _rows(here), _rows(there)
    if len(old) != len(new):
        return f"the study has {len(old)} findings, its archived copy {len(new)}"
    for one, other in zip(old, new, strict=True):
        for column, text in one.items():
            if not _same(names.taken_out(text), other.get(column, ""), exact):
                place = f"{one['measure']}, {one['treatment']}, {column}"
                return f"{place} is {text} in the study and {other.get(column)} in its copy"
    return ""


def _same(old: str, new: str, exact: bool) -> bool:
    if old == new or exact:
        return old == new
    try:
        return math.isclose(float(old), float(new), rel_tol=_TOLERANCE, abs_tol=1e-12)
    except ValueError:
        return False


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))
