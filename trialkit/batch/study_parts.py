"""Checksums of the parts of study.toml, and which of them reach which report."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from trialkit.batch.files import digest
from trialkit.batch.targets import Target
from trialkit.study import Study

OF_ARCHIVES_ONLY: Final = ("licence", "authors", "citation", "archive")
MONEY: Final = "economics"  # the part that no report of a single site-season shows


@dataclass(frozen=True)
class StudyParts:
    """Every part of a study description; what belongs to a place can be asked for by place.

    ``whole`` has a checksum for each part. Comments in study.toml never reach it.
    """

    whole: Mapping[str, str]
    sites: Mapping[str, Any]
    seasons: Mapping[int, Any]
    decisions: Mapping[tuple[int, str], list[Any]]

    def of(self, target: Target) -> dict[str, str]:
        """Checksums of the parts that reach a report, by name."""
        found = dict(self.whole)
        if target.season is not None and target.site is not None:
            # A report shows its own site and season only; who else takes part is not its matter.
            found |= {
                "sites": _digest([self.sites[target.site]]),
                "seasons": _digest([{**self.seasons[target.season], "sites": []}]),
                "protocol_decisions": _digest(self.decisions.get((target.season, target.site), [])),
            }
            del found[MONEY]
        return {f"study.toml: {part}": value for part, value in found.items()}


def parts_of(study: Study) -> StudyParts:
    """Take a study description apart, once for all of its reports."""
    parts: dict[str, Any] = study.model_dump(mode="json", exclude=set(OF_ARCHIVES_ONLY))
    decisions: dict[tuple[int, str], list[Any]] = {}
    for one in parts["protocol_decisions"]:
        decisions.setdefault((one["season"], one["site"]), []).append(one)
    return StudyParts(
        whole={part: _digest(content) for part, content in parts.items()},
        sites={site["id"]: site for site in parts["sites"]},
        seasons={season["year"]: season for season in parts["seasons"]},
        decisions=decisions,
    )


def _digest(content: Any) -> str:
    return digest(json.dumps(content).encode())
