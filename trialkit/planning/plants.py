"""How many plants to look at in this study, from its own counts so far."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.planning.known import Seen
from trialkit.planning.sampling import (
    PowerLaw,
    fit_power_law,
    plants_needed,
    stop_curve,
    stop_table,
)
from trialkit.planning.sequential import SequentialRule, error_curve
from trialkit.study import Study

PRECISION: Final = 0.25  # standard error over mean; common practice for decisions, no source


@dataclass(frozen=True)
class SamplingPlan:
    """How many plants to look at: the fitted power law, a stop card and a decision card."""

    law: PowerLaw
    plants: pd.DataFrame
    stop: pd.DataFrame | None
    stop_does: pd.DataFrame | None
    decide: pd.DataFrame | None
    errors: pd.DataFrame | None


def sampling_plan(study: Study, seen: Mapping[tuple[int, str], Seen]) -> SamplingPlan | None:
    """Plants to look at for the first organism; None where the counts cannot tell yet."""
    counts = [one.scouting.assign(place=str(place)) for place, one in seen.items()]
    counts = [frame for frame in counts if len(frame)]
    if not counts or not study.organisms:
        return None
    frame = pd.concat(counts, ignore_index=True)
    frame = frame[frame["organism"] == study.organisms[0].id]
    try:
        law = fit_power_law(frame, by=("place", "date", "plot"))
    except AnalysisError:
        return None
    means = [0.5, 1, 2, 4, 8]
    needed = np.ceil(plants_needed(law, np.array(means), PRECISION)).astype(int)
    plants = pd.DataFrame({"mean": means, "plants": needed})
    lines = law.b < 2
    stop = stop_table(law, PRECISION) if lines else None
    does = stop_curve(law, PRECISION, means) if lines else None
    return SamplingPlan(law, plants, stop, does, *_decision(study, law))


def _decision(study: Study, law: PowerLaw) -> tuple[pd.DataFrame | None, pd.DataFrame | None]:
    """Card and error curve around the threshold of the first measure that has one."""
    threshold = next((m.threshold for m in study.measures if m.threshold), None)
    if threshold is None or law.variance(threshold) <= threshold:
        return None, None
    k = threshold**2 / (law.variance(threshold) - threshold)
    rule = SequentialRule(safe=0.7 * threshold, harmful=1.3 * threshold, k=k)
    means = [threshold * part for part in (0.25, 0.5, 0.7, 1.0, 1.3, 2.0)]
    return rule.card(), error_curve(rule, means)
