"""Findings across site-seasons: one combined answer per measure beside those of each place."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from trialkit.columns import ACROSS, EFFECTS, PLOT_VALUES
from trialkit.findings.decisions import as_decided, exclusion
from trialkit.findings.effect_table import Scope
from trialkit.findings.environment import Environment, environment_label
from trialkit.findings.recurring_places import place_caution
from trialkit.findings.site_season import Findings, analyse_measures, collect, stacked
from trialkit.inference import Analysis
from trialkit.study import Study


@dataclass(frozen=True)
class AcrossFindings:
    """What the site-seasons say together.

    pooled     : Findings whose rows have site "across" and season 0.
    effects    : EFFECTS of every single site-season, unfinished ones included.
    left_out   : (season, site) -> why it takes no part in the pooled answer.
    spread     : measure, treatment -> prediction interval and heterogeneity, where fitted.
    """

    pooled: Findings
    effects: pd.DataFrame
    left_out: Mapping[tuple[int, str], str]
    environments: tuple[tuple[int, str], ...]


def across_findings(study: Study, environments: Sequence[Environment]) -> AcrossFindings:
    """Combine the finished site-seasons; an unfinished one is shown, but not pooled.

    What study.toml decides to exclude is not pooled either.
    """
    finished = as_decided(
        study, [item for item in environments if study.season(item.season).finished]
    )
    analyses, unanswered = analyse_measures(study, _pooled_values(finished), "environment")
    single = stacked([item.effects for item in finished], EFFECTS)
    analyses = {name: _with_caution(study, name, one, single) for name, one in analyses.items()}
    return AcrossFindings(
        pooled=collect(study, analyses, unanswered, Scope(0, ACROSS)),
        effects=stacked([item.effects for item in environments], EFFECTS),
        left_out=_left_out(study, environments),
        environments=tuple((item.season, item.site) for item in finished),
    )


def _with_caution(study: Study, name: str, analysis: Analysis, single: pd.DataFrame) -> Analysis:
    """Add a caution to pooled counts and shares whose ratios belong to their place."""
    if analysis.design.family not in ("count", "proportion"):
        return analysis
    caution = place_caution(study, study.measure(name), single)
    return replace(analysis, cautions=(caution,)) if caution else analysis


def _pooled_values(environments: Sequence[Environment]) -> pd.DataFrame:
    frames = [
        item.values.assign(environment=environment_label(item.season, item.site))
        for item in environments
    ]
    return stacked(frames, (*PLOT_VALUES, "environment"))


def _left_out(study: Study, environments: Sequence[Environment]) -> dict[tuple[int, str], str]:
    reasons = {
        place: exclusion(study, *place)
        for place in study.site_seasons()
        if exclusion(study, *place)
    }
    reasons |= {
        (item.season, item.site): "the season is not finished; its figures may still change"
        for item in environments
        if not study.season(item.season).finished
    }
    present = {(item.season, item.site) for item in environments}
    for place in study.site_seasons():
        if place not in present and place not in reasons:
            reasons[place] = "its data could not be used"
    return reasons
