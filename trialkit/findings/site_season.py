"""Findings of one site-season: means, effects and verdicts of each measure that has an answer."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.columns import EFFECTS, MEANS
from trialkit.errors import AnalysisError
from trialkit.findings.effect_table import Scope, effect_rows, mean_rows
from trialkit.inference import Analysis, analyze
from trialkit.study import Measure, Study


@dataclass(frozen=True)
class Findings:
    """What the data of one scope say.

    means      : frame with columns MEANS, canonical units.
    effects    : frame with columns EFFECTS, every treatment against the untreated check.
    analyses   : the fitted analysis of each measure that could be analysed.
    unanswered : measure -> why it could not be analysed, in words.
    """

    means: pd.DataFrame
    effects: pd.DataFrame
    analyses: Mapping[str, Analysis]
    unanswered: Mapping[str, str]


def site_season_findings(study: Study, values: pd.DataFrame) -> Findings:
    """Analyse every measure of one site-season; ``values`` has columns PLOT_VALUES."""
    scope = Scope(int(values["season"].iloc[0]), str(values["site"].iloc[0]))
    analyses, unanswered = analyse_measures(study, values)
    return collect(study, analyses, unanswered, scope)


def collect(
    study: Study, analyses: Mapping[str, Analysis], unanswered: Mapping[str, str], scope: Scope
) -> Findings:
    """Gather the rows of every analysis into one frame of means and one of effects."""
    measures = [(study.measure(name), analysis) for name, analysis in analyses.items()]
    means = [mean_rows(measure, analysis, scope) for measure, analysis in measures]
    effects = [effect_rows(study, measure, analysis, scope) for measure, analysis in measures]
    return Findings(
        means=in_study_order(study, stacked(means, MEANS)),
        effects=in_study_order(study, stacked(effects, EFFECTS)),
        analyses=analyses,
        unanswered=unanswered,
    )


def in_study_order(study: Study, frame: pd.DataFrame) -> pd.DataFrame:
    """Rows by measure and treatment in the order of study.toml, the check first."""
    measures = {measure.id: place for place, measure in enumerate(study.measures)}
    treatments = {treatment: place for place, treatment in enumerate(study.treatment_ids)}
    keys = pd.DataFrame(
        {"m": frame["measure"].map(measures), "t": frame["treatment"].map(treatments)}
    )
    return frame.loc[keys.sort_values(["m", "t"], kind="stable").index].reset_index(drop=True)


def analyse_measures(
    study: Study, values: pd.DataFrame, environment: str | None = None
) -> tuple[dict[str, Analysis], dict[str, str]]:
    """Analyse each measure against the check; a measure that cannot be, says why."""
    analyses, unanswered = {}, {}
    for measure in study.measures:
        try:
            analyses[measure.id] = analyse(study, measure, values, environment)
        except AnalysisError as error:
            unanswered[measure.id] = str(error)
    return analyses, unanswered


def analyse(
    study: Study, measure: Measure, values: pd.DataFrame, environment: str | None = None
) -> Analysis:
    """Analyse one measure; raises AnalysisError in words where the data cannot answer.

    Across environments, ``site`` and ``season`` of the rows say which of them recur.
    """
    rows = values[(values["measure"] == measure.id) & (values["left_out"] == "")]
    if rows.empty:
        raise AnalysisError("there is no plot with a value to analyse.")
    rows, whole_plot = in_whole_plots(study, rows)
    return analyze(
        rows,
        treatment="treatment",
        block=block_of(rows),
        whole_plot=whole_plot,
        environment=environment,
        site="site" if environment else None,
        season="season" if environment else None,
        family=measure.family,
        control=study.check.id,
        level=study.level,
        **response_columns(measure, rows),
    )


def block_of(rows: pd.DataFrame) -> str | None:
    """Column of the blocks; None where plots were completely randomised, all in one block."""
    one_block = rows["block"].nunique() == 1
    return None if one_block and rows.duplicated(["season", "site", "treatment"]).any() else "block"


def in_whole_plots(study: Study, rows: pd.DataFrame) -> tuple[pd.DataFrame, str | None]:
    """Rows with the whole-plot level of their treatment, and its column; None if all share one."""
    level = {t: name for name, own in study.layout.whole_plots.items() for t in own}
    levels = rows["treatment"].map(level)
    if levels.nunique() < 2:
        return rows, None
    return rows.assign(whole_plot=levels), "whole_plot"


def response_columns(measure: Measure, rows: pd.DataFrame) -> dict[str, str]:
    """Columns that hold the response: totals where the model needs to know how much was seen."""
    if measure.family == "proportion":
        return {"response": "events", "trials": "trials"}
    if measure.family == "count" and rows[["events", "exposure"]].notna().all(axis=None):
        return {"response": "events", "exposure": "exposure"}
    return {"response": "value"}


def stacked(frames: list[pd.DataFrame], columns: tuple[str, ...]) -> pd.DataFrame:
    """Frames one below the other, or an empty frame with these columns."""
    if not frames:
        return pd.DataFrame(columns=list(columns))
    return pd.concat(frames, ignore_index=True)
