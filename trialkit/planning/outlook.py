"""What a running study still needs: every contrast so far, and how many more site-seasons."""

from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.inference.more_needed import chance_settled, more_needed
from trialkit.study import Study


@dataclass(frozen=True)
class SoFar:
    """A contrast over site-seasons on the scale of its model, with the margin on that scale.

    ``widening`` is the width of its interval over that of a plain t interval.
    """

    measure: str
    treatment: str
    estimate: float
    se: float
    environments: int
    margin: float
    widening: float = 1.0


def outlook(
    study: Study, contrasts: Sequence[SoFar], chance: float = 0.8, most: int = 40
) -> pd.DataFrame:
    """One row a contrast: measure, treatment, settled now, more site-seasons, chance then.

    ``more`` is empty where even ``most`` more would not settle it with this chance.
    """
    rows = [_row(study, contrast, chance, most) for contrast in contrasts]
    columns = ["measure", "treatment", "site_seasons", "settled_now", "more", "chance"]
    return pd.DataFrame(rows, columns=columns).astype({"more": "Int64"})


def _row(study: Study, one: SoFar, chance: float, most: int) -> tuple[object, ...]:
    table = chance_settled(
        one.estimate,
        one.se,
        one.environments,
        one.margin,
        treatments=len(study.treatments),
        most=most,
        level=study.level,
        widening=one.widening,
    )
    settled = bool(table.loc[0, "chance"] == 1)
    more = more_needed(table, chance)
    reached = table.loc[table["more"] == (most if more is None else more), "chance"].item()
    names = (study.measure(one.measure).name, study.treatment(one.treatment).label)
    return (*names, one.environments, settled, more, reached)
