"""How much plots and site-seasons of a study vary, as the power of its next layout needs it."""

import math

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.findings import AcrossFindings
from trialkit.findings.site_season import block_of, response_columns
from trialkit.findings.spread import variance_between
from trialkit.inference import analyze
from trialkit.inference.design import Design, make_design
from trialkit.planning.how_much import RULE_OF_THUMB, rule_of_thumb
from trialkit.planning.spread import spread_of
from trialkit.planning.spread_split import WholePlots, split_components
from trialkit.study import Assumption, Measure, Study

Values = dict[tuple[int, str], pd.DataFrame]


def spread_so_far(
    study: Study, values: Values, across: AcrossFindings | None
) -> dict[str, Assumption]:
    """Spread of the primary measures over the finished site-seasons, in percent of the check.

    ``values`` are their plot values. One site-season tells of plots only; what it cannot tell is a
    rule of thumb, and ``source`` says so.
    """
    found: dict[str, Assumption] = {}
    for measure in study.measures:
        designs = _designs(study, measure, values) if measure.primary else []
        known = _of_plots(study, measure, designs) if designs else {}
        if known:
            between, said = _between(measure, across, len(designs))
            stated = {"measure": measure.id, "environment_sd": between, "source": said}
            found[measure.id] = Assumption.model_validate(stated | known)
    return found


def _designs(study: Study, measure: Measure, values: Values) -> list[Design]:
    """One design per site-season in which the measure can be analysed."""
    found = []
    for frame in values.values():
        rows = frame[(frame["measure"] == measure.id) & (frame["left_out"] == "")]
        names = {"treatment": "treatment", "control": study.check.id}
        try:
            columns = response_columns(measure, rows)
            block = block_of(rows)
            found.append(make_design(rows, block=block, family=measure.family, **names, **columns))
        except AnalysisError:  # too few plots for this measure: the others tell
            continue
    return found


def _of_plots(study: Study, measure: Measure, designs: list[Design]) -> dict[str, float]:
    """The entries of an Assumption that plots tell of; none where they tell nothing."""
    if measure.family in ("count", "proportion"):
        found = spread_of(designs)
        if found is None:
            return {}
        if measure.family == "count":
            return {"check_mean": found.check_mean, "overdispersion": 1 / found.clumping}
        known = {"check_mean": 100 * found.check_mean, "overdispersion": found.clumping}
        return known | {"trials": max(1, round(found.trials))}
    if measure.family not in ("normal", "lognormal"):
        return {}
    frame = pd.concat([one.frame.assign(place=n) for n, one in enumerate(designs)])
    check = float(frame.loc[frame["treatment"] == study.check.id, "response"].mean())
    scale = 100.0 if measure.family == "lognormal" else 100 / abs(check)
    if study.layout.whole_plots:
        logs = measure.family == "lognormal"
        seen = frame.assign(response=np.log(frame["response"])) if logs else frame
        parts = split_components(seen, study.layout.whole_plots)
        return {} if parts is None else _split(parts, scale)
    square, df = _pooled_residual(study, measure, designs)
    return {"plot_sd": scale * math.sqrt(square / df)} if square > 0 else {}


def _split(parts: WholePlots, scale: float) -> dict[str, float]:
    deviations = (math.sqrt(parts.plot), math.sqrt(parts.whole_plot))
    return {"plot_sd": scale * deviations[0], "whole_plot_sd": scale * deviations[1]}


def _pooled_residual(study: Study, measure: Measure, designs: list[Design]) -> tuple[float, float]:
    """Residual sum of squares and degrees of freedom, added up over site-seasons."""
    square = df = 0.0
    for design in designs:
        fitted = analyze(
            design.frame,
            response="response",
            treatment="treatment",
            block="block" if "block" in design.frame else None,
            family=measure.family,
            control=study.check.id,
        )
        own = float(fitted.means["df"].iloc[0])
        square, df = square + own * fitted.model.components["residual"], df + own
    return square, df


def _between(measure: Measure, across: AcrossFindings | None, places: int) -> tuple[float, str]:
    """Spread of a treatment between site-seasons, and the words for where all of it is from."""
    plural = "" if places == 1 else "s"
    own = f"this study's own {places} finished site-season{plural}"
    analysis = None if across is None else across.pooled.analyses.get(measure.id)
    if analysis is None:
        usual = rule_of_thumb(measure).environment_sd
        return usual, f"plots: {own}; between site-seasons: {RULE_OF_THUMB}"
    between = variance_between(analysis)
    logs = measure.family != "normal"
    scale = 1.0 if logs else abs(float(analysis.means["mean"].iloc[0]))
    return 100 * math.sqrt(between) / scale, own
