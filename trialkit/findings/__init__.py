"""Study, measures and inference together: tidy effect tables and verdicts."""

from trialkit.findings.across import (
    AcrossFindings,
    Environment,
    across_findings,
    environment_label,
)
from trialkit.findings.site_season import Findings, site_season_findings
from trialkit.findings.undone import moved_by_corrections, verdicts_moved, without_answer
from trialkit.findings.verdict import MEANING, Verdict, judge

__all__ = [
    "MEANING",
    "AcrossFindings",
    "Environment",
    "Findings",
    "Verdict",
    "across_findings",
    "environment_label",
    "judge",
    "moved_by_corrections",
    "site_season_findings",
    "verdicts_moved",
    "without_answer",
]
