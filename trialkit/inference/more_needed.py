"""A running study: how many more site-seasons until a contrast is settled, and how likely.

The contrast so far is ``estimate`` with standard error ``se`` from E site-seasons. The true effect
is taken as normal around it (no prior knowledge). One more site-season gives a value with variance
V = E se² around the truth, of which the plots and the treatment x environment part are both in se.
After n more the estimate is normal around today's with variance (n² se² + n V) / (E + n)²
= n se² / (E + n), and its interval has half width t(df) sqrt(V / (E + n)) with
(t - 1)(E + n - 1) degrees of freedom. The contrast is settled when that interval excludes zero or
lies inside the margins. The chance is therefore exact under these assumptions, not simulated.
"""

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.errors import AnalysisError


def chance_settled(
    estimate: float,
    se: float,
    environments: int,
    margin: float,
    *,
    treatments: int = 2,
    most: int = 20,
    level: float = 0.95,
    precision: float = 1.0,
    widening: float = 1.0,
) -> pd.DataFrame:
    """Return, for 0 to ``most`` more site-seasons, the chance that the contrast is settled.

    All on the scale of the model; ``margin`` is positive. ``precision`` is that of a further
    site-season relative to one so far: above 1 where it has more blocks; estimates are then
    weighted by it, so that n more count as n x precision. ``widening`` is how much wider than a
    plain t interval the study's intervals are, for the family of comparisons that they belong to.
    Columns: more, half_width, chance.
    """
    if not se > 0 or environments < 2:
        raise AnalysisError(
            "How many more site-seasons needs a contrast over two site-seasons or more, with a "
            "standard error above zero. Wait for more data, or use the power of a planned layout."
        )
    more = np.arange(most + 1)
    total = environments + more
    df = (treatments - 1) * (total - 1)
    weight = environments + precision * more
    half = widening * stats.t.ppf(0.5 + level / 2, df) * se * np.sqrt(environments / weight)
    spread = se * np.sqrt(precision * more / weight)
    chance = _outside(estimate, spread, half) + _inside(estimate, spread, half, margin)
    return pd.DataFrame({"more": more, "half_width": half, "chance": chance})


def more_needed(table: pd.DataFrame, chance: float = 0.8) -> int | None:
    """Fewest more site-seasons with at least this chance; None if the table does not reach it."""
    reached = table.loc[table["chance"] >= chance, "more"]
    return int(reached.iloc[0]) if len(reached) else None


def _outside(estimate: float, spread: np.ndarray, half: np.ndarray) -> np.ndarray:
    return _above(estimate - half, spread) + _above(-estimate - half, spread)


def _inside(estimate: float, spread: np.ndarray, half: np.ndarray, margin: float) -> np.ndarray:
    """Chance of an interval inside the margins that does not exclude zero as well."""
    room = np.minimum(margin - half, half)
    within = _above(estimate + room, spread) - _above(estimate - room, spread)
    return np.where(room > 0, within, 0.0)


def _above(distance: np.ndarray, spread: np.ndarray) -> np.ndarray:
    """Chance that a normal with this spread around ``distance`` is above zero."""
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(spread > 0, distance / spread, np.where(distance > 0, np.inf, -np.inf))
    return np.asarray(stats.norm.cdf(z))
