"""Study, measures and inference together: tidy effect tables and verdicts."""

from trialkit.findings.across import AcrossFindings, across_findings
from trialkit.findings.decisions import Standing, as_decided, standings, without_excluded
from trialkit.findings.environment import Environment, environment_label
from trialkit.findings.site_season import Findings, site_season_findings
from trialkit.findings.undone import moved_by_corrections, verdicts_moved, without_answer
from trialkit.findings.verdict import MEANING, Verdict, judge

__all__ = [
    "MEANING",
    "AcrossFindings",
    "Environment",
    "Findings",
    "Standing",
    "Verdict",
    "across_findings",
    "as_decided",
    "environment_label",
    "judge",
    "moved_by_corrections",
    "site_season_findings",
    "standings",
    "verdicts_moved",
    "without_answer",
    "without_excluded",
]
