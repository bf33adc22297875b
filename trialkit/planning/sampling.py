"""How many plants to look at for a stated precision: Taylor's power law and Green's stop lines."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.errors import AnalysisError

FEWEST_GROUPS = 5


@dataclass(frozen=True)
class PowerLaw:
    """Variance between plants as a power of the mean: s² = a m^b (Taylor 1961, Nature 189:732).

    ``se_b`` is the standard error of b, ``groups`` the number of means that the line was fitted to.
    b = 1 with a = 1 is random; b above 1 is clumped.
    """

    a: float
    b: float
    se_b: float
    r_squared: float
    groups: int

    def variance(self, mean: float) -> float:
        """Variance at a mean."""
        return float(self.a * mean**self.b)


def fit_power_law(counts: pd.DataFrame, by: tuple[str, ...] = ("date", "plot")) -> PowerLaw:
    """Fit log s² = log a + b log m by least squares over groups of plants.

    ``counts`` has one row a plant with ``count`` and the columns of ``by``. Groups with fewer than
    two plants, or without any spread or insect, have no logarithm and are left out. Raises
    AnalysisError with fewer than five groups left.
    """
    groups = counts.groupby(list(by))["count"].agg(["mean", "var"])
    groups = groups[(groups["mean"] > 0) & (groups["var"] > 0)]
    if len(groups) < FEWEST_GROUPS or groups["mean"].nunique() < 2:
        raise AnalysisError(
            f"The counts give {len(groups)} group(s) of plants with insects; the power law of mean "
            f"and variance needs {FEWEST_GROUPS}. Scout more plants or more dates."
        )
    line = stats.linregress(np.log(groups["mean"]), np.log(groups["var"]))
    return PowerLaw(
        a=float(np.exp(line.intercept)),
        b=float(line.slope),
        se_b=float(line.stderr),
        r_squared=float(line.rvalue**2),
        groups=len(groups),
    )


def plants_needed(law: PowerLaw, mean: "float | np.ndarray", precision: float) -> np.ndarray:
    """Plants for a standard error of ``precision`` times the mean: n = a m^(b - 2) / D².

    >>> law = PowerLaw(a=2.0, b=1.5, se_b=0.1, r_squared=0.9, groups=50)
    >>> float(plants_needed(law, 4.0, 0.25))
    16.0
    """
    _check_precision(precision)
    return np.asarray(law.a * np.asarray(mean, dtype=float) ** (law.b - 2) / precision**2)


def stop_line(law: PowerLaw, plants: "int | np.ndarray", precision: float) -> np.ndarray:
    """Running total at which sampling may stop after ``plants`` plants.

    Green (1970, Researches on Population Ecology 12:249): T = (D²/a)^(1/(b-2)) n^((b-1)/(b-2)).

    >>> law = PowerLaw(a=2.0, b=1.5, se_b=0.1, r_squared=0.9, groups=50)
    >>> float(stop_line(law, 16, 0.25))  # 16 plants with a mean of 4, as in plants_needed
    64.0
    """
    _check_precision(precision)
    if law.b >= 2:
        raise AnalysisError(
            f"The counts are so clumped (b = {law.b:.2f}) that more insects do not make the mean "
            "surer; there is no stop line. Use a fixed number of plants."
        )
    number = np.asarray(plants, dtype=float)
    power = (law.b - 1) / (law.b - 2)
    return np.asarray((precision**2 / law.a) ** (1 / (law.b - 2)) * number**power)


def stop_table(law: PowerLaw, precision: float, most: int = 60, step: int = 5) -> pd.DataFrame:
    """Return plants and the total count at which to stop, for a card to carry."""
    plants = np.arange(step, most + 1, step)
    totals = np.ceil(np.round(stop_line(law, plants, precision), 9)).astype(int)
    return pd.DataFrame({"plants": plants, "stop_at_total": totals})


def stop_curve(
    law: PowerLaw,
    precision: float,
    means: "np.ndarray | list[float]",
    *,
    fewest: int = 5,
    most: int = 60,
    runs: int = 4000,
    seed: int = 1,
) -> pd.DataFrame:
    """What the stop line does at each true mean, by simulation.

    Counts are negative binomial with the law's variance at the mean (Poisson where the law's is no
    larger); a sampler looks at ``fewest`` plants or more and stops at the line, or at ``most``.
    Columns: mean, plants (expected), plants_90 (nine of ten need no more), precision (standard
    deviation of the means found, over the true mean) and bias (mean of the means found, less the
    true one, over it).
    """
    rng, number = np.random.default_rng(seed), np.arange(1, most + 1)
    line, rows = stop_line(law, number, precision), []
    for mean in np.asarray(means, dtype=float):
        total = _counts(law, mean, (runs, most), rng).cumsum(axis=1)
        stops = (total >= line) & (number >= fewest)
        last = np.where(stops.any(axis=1), stops.argmax(axis=1), most - 1)
        plants, found = number[last], total[np.arange(runs), last] / number[last]
        nine = np.quantile(plants, 0.9)
        rows.append((mean, plants.mean(), nine, found.std() / mean, found.mean() / mean - 1))
    return pd.DataFrame(rows, columns=["mean", "plants", "plants_90", "precision", "bias"])


def _counts(
    law: PowerLaw, mean: float, shape: tuple[int, int], rng: np.random.Generator
) -> np.ndarray:
    extra = law.variance(mean) - mean
    rate = mean if extra <= 0 else rng.gamma(mean**2 / extra, extra / mean, shape)
    return np.asarray(rng.poisson(rate, shape))


def _check_precision(precision: float) -> None:
    if not 0 < precision < 1:
        raise AnalysisError(
            f"A precision of {precision:g} cannot be kept; it is the standard error over the mean. "
            "Ask for a number between 0 and 1, such as 0.25."
        )
