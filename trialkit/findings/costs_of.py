"""Costs of the treatments, gathered from costs.csv: what is known, what is missing, and why."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import Fault
from trialkit.findings.partial_budget import costs_a_season, with_event_labour
from trialkit.study import Study, economics_faults

COSTS_FILE = "costs.csv"
NAMES = ("cost", "hours", "labour_cost")


@dataclass(frozen=True)
class TreatmentCosts:
    """Costs a season and field area by treatment (cost, hours, labour_cost), the check at least 0.

    missing  : sentences on treatments whose costs are not known.
    blocking : True where terms in study.toml cannot be used, so nothing can be said.
    wage     : price of an hour.
    """

    table: pd.DataFrame
    missing: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    blocking: bool = False
    wage: float = 0.0

    def with_hours(self, hours: Mapping[str, float]) -> pd.DataFrame:
        """Table with the hours that events took on top."""
        return with_event_labour(self.table, hours, self.wage)


def treatment_costs(
    study: Study,
    costs: pd.DataFrame,
    *,
    incomplete: Iterable[str] = (),
    faults: tuple[Fault, ...] = (),
) -> TreatmentCosts:
    """Gather the costs of every treatment of the study.

    ``costs`` has the rows of costs.csv that can be used; ``incomplete`` names treatments of rows
    that cannot, with their ``faults``. A treatment without a row has no known costs, unless it is
    the check.
    """
    broken, terms = set(incomplete), economics_faults(study)
    astray = broken - set(study.treatment_ids)
    absent = [
        t for t in study.treatment_ids[1:] if t not in set(costs["treatment"]) and t not in broken
    ]
    known = [t for t in study.treatment_ids if t not in broken and t not in absent]
    table = costs_a_season(costs[costs["treatment"].isin(known)]).reindex(known, fill_value=0.0)
    names = {t: study.treatment(t).name for t in study.treatment_ids}
    missing = [
        *(f"{names[t]} has a cost that cannot be used, so its money is left out."
          for t in study.treatment_ids if t in broken),
        *(f"{names[t]} has no costs in {COSTS_FILE}, so its money is left out." for t in absent),
        *([f"{COSTS_FILE} has a cost of no known treatment, so some costs may be too low."]
          if astray else []),
        *(["Prices in study.toml cannot be used, so no money is worked out."] if terms else []),
    ]  # fmt: skip
    told = (*terms, *faults, *(_absent(study, t) for t in absent))
    wage = study.economics.wage if study.economics and not terms else 0.0
    return TreatmentCosts(table, tuple(missing), told, bool(terms), float(wage))


def _absent(study: Study, treatment: str) -> Fault:
    return Fault(
        (study.folder / COSTS_FILE).as_posix(),
        column="treatment",
        what=f"treatment '{treatment}' has no row, so its costs are not known",
        remedy="Add its inputs; one that costs nothing needs a row with price 0",
        code="no_costs",
        value=treatment,
    )
