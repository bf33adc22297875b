"""The same measure analysed again: other site-seasons, other plots, another model."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import pandas as pd

from trialkit.columns import ACROSS, EFFECTS
from trialkit.errors import AnalysisError
from trialkit.findings.effect_table import Scope, effect_rows, scale_of, shown_means
from trialkit.findings.environment import Environment
from trialkit.findings.site_season import block_of, in_whole_plots, response_columns
from trialkit.inference import Analysis, analyze
from trialkit.study import Measure, Study

Place = tuple[int, str]
PLACE_MEANS: Final = ("season", "site", "measure", "treatment", "mean")


@dataclass(frozen=True)
class Way:
    """How to analyse: ``family`` and ``adjust`` as for analyze; empty is what the study does.

    ``independent`` takes site-seasons as independent of each other, whatever site or season;
    ``recurring`` names which of "site" and "season" have terms of their own, as for analyze.
    """

    family: str = ""
    adjust: str = ""
    independent: bool = False
    recurring: tuple[str, ...] | None = None


def values_of(measure: Measure, environments: Iterable[Environment]) -> pd.DataFrame:
    """Plot values of one measure that are analysed, with ``environment``."""
    return pd.concat([item.analysed(measure.id) for item in environments], ignore_index=True)


def each_place(
    study: Study, measure: Measure, environments: Iterable[Environment]
) -> dict[Place, Analysis]:
    """Analyse a measure in every site-season by itself; those that cannot be are not there."""
    found = {}
    for item in environments:
        try:
            found[item.season, item.site] = analyse_again(
                study, measure, values_of(measure, [item])
            )
        except AnalysisError:
            continue
    return found


def place_means(analyses: Mapping[Place, Analysis], measure: Measure) -> pd.DataFrame:
    """Means of every site-season (columns PLACE_MEANS), as people read them."""
    scale = scale_of(measure)
    rows = [
        (*place, measure.id, treatment, mean * scale)
        for place, one in analyses.items()
        for treatment, mean in shown_means(one).items()
    ]
    return pd.DataFrame(rows, columns=list(PLACE_MEANS))


def analyse_again(
    study: Study, measure: Measure, values: pd.DataFrame, way: Way | None = None
) -> Analysis:
    """Analyse ``values`` (from :func:`values_of`) across its environments, or the only one."""
    how = way or Way()
    if values.empty:
        raise AnalysisError("there is no plot with a value to analyse.")
    changed = how.family not in ("", measure.family)
    columns = {"response": "value"} if changed else response_columns(measure, values)
    across = values["environment"].nunique() > 1
    named = across and not how.independent
    values, whole_plot = in_whole_plots(study, values)
    return analyze(
        values,
        treatment="treatment",
        block=block_of(values),
        whole_plot=whole_plot,
        environment="environment" if across else None,
        site="site" if named else None,
        season="season" if named else None,
        recurring=how.recurring if named else None,
        family=how.family or measure.family,
        control=study.check.id,
        adjust=how.adjust or None,
        level=study.level,
        **columns,
    )


def effects_again(
    study: Study, measure: Measure, values: pd.DataFrame, label: str, way: Way | None = None
) -> pd.DataFrame:
    """Return EFFECTS rows with ``label``, or none where the question has no answer this way."""
    try:
        analysis = analyse_again(study, measure, values, way)
    except AnalysisError:
        return pd.DataFrame(columns=[*EFFECTS, "label"])
    return labelled(study, measure, analysis, label)


def labelled(study: Study, measure: Measure, analysis: Analysis, label: str) -> pd.DataFrame:
    """Return EFFECTS over site-seasons with ``label``; Hedges g, which nobody reads, is empty."""
    rows = effect_rows(study, measure, analysis, Scope(0, ACROSS), standardised=False)
    return rows.assign(label=label)
