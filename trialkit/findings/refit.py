"""The same measure analysed again: other site-seasons, other plots, another model."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.columns import ACROSS, EFFECTS, MEANS
from trialkit.errors import AnalysisError
from trialkit.findings.effect_table import Scope, effect_rows, mean_rows
from trialkit.findings.environment import Environment, environment_label
from trialkit.findings.site_season import block_of, in_whole_plots, response_columns
from trialkit.inference import Analysis, analyze
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class Way:
    """How to analyse: ``family`` and ``adjust`` as for analyze; empty is what the study does.

    ``independent`` takes site-seasons as independent of each other, whatever site or season.
    """

    family: str = ""
    adjust: str = ""
    independent: bool = False


def values_of(measure: Measure, environments: Iterable[Environment]) -> pd.DataFrame:
    """Plot values of one measure that are analysed, with ``environment``."""
    frames = []
    for item in environments:
        rows = item.values
        kept = rows[(rows["measure"] == measure.id) & (rows["left_out"] == "")]
        frames.append(kept.assign(environment=environment_label(item.season, item.site)))
    return pd.concat(frames, ignore_index=True)


def each_place(
    study: Study, measure: Measure, environments: Iterable[Environment]
) -> dict[tuple[int, str], Analysis]:
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


def place_means(analyses: Mapping[tuple[int, str], Analysis], measure: Measure) -> pd.DataFrame:
    """Means of every site-season (columns MEANS), from :func:`each_place`."""
    frames = [mean_rows(measure, one, Scope(*place)) for place, one in analyses.items()]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=list(MEANS))


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
    recurring = across and not how.independent
    values, whole_plot = in_whole_plots(study, values)
    return analyze(
        values,
        treatment="treatment",
        block=block_of(values),
        whole_plot=whole_plot,
        environment="environment" if across else None,
        site="site" if recurring else None,
        season="season" if recurring else None,
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
    return effect_rows(study, measure, analysis, Scope(0, ACROSS)).assign(label=label)
