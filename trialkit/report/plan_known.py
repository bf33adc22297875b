"""What a study tells its own plan: plots, events, counts, contrasts so far, and their spread."""

import math
from collections.abc import Mapping
from typing import Any, Final

import pandas as pd
from scipy import stats

from trialkit import intake, measures, planning
from trialkit.columns import EFFECTS
from trialkit.errors import StudyError
from trialkit.findings import AcrossFindings, Environment, across_findings
from trialkit.intake import SiteSeason
from trialkit.planning.entry import entry_fault
from trialkit.report.plan_spread import Values, spread_so_far
from trialkit.study import STUDY_FILE, Assumption, Measure, Study, read_study
from trialkit.study.units import to_display

# Only the pooled answer is asked for, so the single site-seasons are not analysed.
_NOT_WANTED: Final = pd.DataFrame(columns=EFFECTS)


def known_so_far(study: Study) -> planning.Known:
    """Gather plots, events, counts, contrasts and spread from the data typed so far.

    What the study's own plots say of the spread goes before what those of ``layout.past`` say.
    """
    usable = {place: data for place, data in _read(study).items() if data.usable}
    seen = {place: _seen(study, data) for place, data in usable.items()}
    finished = {p: data for p, data in usable.items() if study.season(p[0]).finished}
    values = {p: _values(study, p, data) for p, data in finished.items()}
    across = _across(study, values) if len(values) > 1 else None
    spread = _past_spread(study) | spread_so_far(study, values, across)
    return planning.Known(seen, _contrasts(study, across) if across else (), spread)


def _past_spread(study: Study) -> dict[str, Assumption]:
    """Spread of the measures that the study of ``layout.past`` had as well."""
    if not study.layout.past:
        return {}
    past = _past(study)
    found = known_so_far(past).assumptions
    return {
        name: one.model_copy(update={"source": f"{past.name}, a past study: {one.source}"})
        for name, one in found.items()
        if name in {measure.id for measure in study.measures}
    }


def _past(study: Study) -> Study:
    folder = study.folder / study.layout.past
    if not (folder / STUDY_FILE).is_file():
        what = f"there is no {STUDY_FILE} in {folder.as_posix()}"
        remedy = "Name the folder of the past study as seen from this one"
        raise StudyError((entry_fault(study, "layout.past", what, remedy, "no_past_study"),))
    return read_study(folder)


def _read(study: Study) -> dict[tuple[int, str], SiteSeason]:
    there = [place for place in study.site_seasons() if study.data_folder(*place).is_dir()]
    return {place: intake.read_site_season(study, *place) for place in there}


def _values(study: Study, place: tuple[int, str], data: SiteSeason) -> pd.DataFrame:
    return measures.plot_values(study, *place, data.tables, data.left_out)


def _seen(study: Study, data: SiteSeason) -> planning.Seen:
    plots = data.tables["plots"].reset_index(drop=True)
    plots = plots.assign(area=to_display(plots["area"], "area", study.units).round(4))
    return planning.Seen(plots, data.tables["events"], data.tables["scouting"])


def _across(study: Study, values: Values) -> AcrossFindings:
    return across_findings(
        study, [Environment(*place, frame, _NOT_WANTED) for place, frame in values.items()]
    )


def _contrasts(study: Study, across: AcrossFindings) -> list[planning.SoFar]:
    found = []
    for row in across.pooled.effects.to_dict("records"):
        measure = study.measure(str(row["measure"]))
        places = _environments(across, measure)
        if measure.primary and places > 1 and row["se"] > 0 and math.isfinite(row["estimate"]):
            margin = _model_margin(across, measure, row["margin"], row["effect_unit"])
            ends = (str(row["treatment"]), row["estimate"], row["se"], places, margin)
            found.append(planning.SoFar(measure.id, *ends, _widening(study, row)))
    return found


def _widening(study: Study, row: Mapping[Any, Any]) -> float:
    """How much wider the reported interval is than a plain t interval."""
    plain = stats.t.ppf(0.5 + study.level / 2, row["df"])
    ends = [abs(row[end] - row["estimate"]) / row["se"] for end in ("low", "high")]
    known = [end for end in ends if math.isfinite(end)]
    return max(known) / float(plain) if known else 1.0


def _environments(across: AcrossFindings, measure: Measure) -> int:
    return int(across.pooled.analyses[measure.id].design.frame["environment"].nunique())


def _check_mean(across: AcrossFindings, measure: Measure) -> float:
    return float(across.pooled.analyses[measure.id].means["mean"].iloc[0])


def _model_margin(across: AcrossFindings, measure: Measure, margin: float, unit: str) -> float:
    """Margin on the scale of the model: logarithm, log odds, or the measure's own unit."""
    if measure.family in ("count", "lognormal"):
        return math.log1p(margin / 100)
    if unit == "points":
        check = _check_mean(across, measure)
        moved = min(check + margin / 100, 1 - 1e-9)
        return math.log(moved / (1 - moved)) - math.log(check / (1 - check))
    if unit == "percent":
        return abs(_check_mean(across, measure)) * margin / 100
    return margin
