"""What each treatment gained in one site-season, and how probably: all that places are shown by."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from trialkit.errors import Fault
from trialkit.findings import gain
from trialkit.findings.costs_of import TreatmentCosts
from trialkit.findings.economics import chosen, gains_at, is_known, missing_of, simulated
from trialkit.inference import Analysis
from trialkit.study import Study


@dataclass(frozen=True)
class PlaceGains:
    """Gain over the check per field area in one site-season, with the chance of beating it there.

    by_treatment : treatment -> (gain, chance), the check among them; empty where nothing is known.
    missing, faults : as in economics.Money.
    """

    by_treatment: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    missing: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


def gains_of(
    study: Study, analysis: Analysis | None, costs: TreatmentCosts, event_hours: Mapping[str, float]
) -> PlaceGains:
    """Return gains and chances, the same as economics.money_of has in its budget."""
    missing = missing_of(study, analysis, costs)
    if analysis is None or not is_known(study, costs, missing):
        return PlaceGains({}, missing, costs.faults)
    means, spent = chosen(analysis.model.means, study, costs), costs.with_hours(event_hours)
    chance = gain.chance_of_gain(simulated(study, means, spent)())
    pairs = zip(gains_at(study, means, spent).tolist(), chance.tolist(), strict=True)
    return PlaceGains(dict(zip(means.treatments, pairs, strict=True)), missing, costs.faults)
