"""A sequential decision against an action threshold: count plant by plant, stop when sure.

Wald's sequential probability ratio test (1947, Sequential Analysis, ch. 5) for counts with a
negative binomial distribution of common k. Two straight lines bound the running total: at or above
the upper one act, at or below the lower one do not, in between look at another plant. A rule that
has not decided after ``most`` plants decides by the side of the threshold that the mean is on.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError


@dataclass(frozen=True)
class SequentialRule:
    """Decision lines total = slope x plants + intercept.

    ``safe`` and ``harmful`` are the means per plant that must be told apart, ``alpha`` the chance
    of acting at ``safe``, ``beta`` that of not acting at ``harmful``.
    """

    safe: float
    harmful: float
    k: float
    alpha: float = 0.1
    beta: float = 0.1
    fewest: int = 5
    most: int = 60

    def __post_init__(self) -> None:
        if not (0 < self.safe < self.harmful and self.k > 0):
            raise AnalysisError(
                "A sequential rule needs a safe mean above zero and below the harmful one, and a k "
                "above zero. Set both around the measure's threshold in study.toml."
            )
        if not (0 < self.alpha < 0.5 and 0 < self.beta < 0.5 and 1 <= self.fewest <= self.most):
            raise AnalysisError(
                "A sequential rule needs error rates between 0 and 0.5 and fewest <= most plants."
            )

    @property
    def _step(self) -> float:
        """Log likelihood ratio of one insect."""
        m0, m1, k = self.safe, self.harmful, self.k
        return float(np.log(m1 * (k + m0) / (m0 * (k + m1))))

    @property
    def slope(self) -> float:
        """Insects a plant that both lines rise by."""
        m0, m1, k = self.safe, self.harmful, self.k
        return float(k * np.log((k + m1) / (k + m0)) / self._step)

    @property
    def upper(self) -> float:
        """Intercept of the line above which to act."""
        return float(np.log((1 - self.beta) / self.alpha) / self._step)

    @property
    def lower(self) -> float:
        """Intercept of the line below which not to act (negative)."""
        return float(np.log(self.beta / (1 - self.alpha)) / self._step)

    def card(self, step: int = 5) -> pd.DataFrame:
        """Totals to act at and not to act at, to carry into the field (empty where none is yet)."""
        plants = np.arange(max(step, self.fewest), self.most + 1, step)
        low = np.floor(self.slope * plants + self.lower).astype(int)
        high = np.ceil(self.slope * plants + self.upper).astype(int)
        columns = {"plants": plants, "do_not_act_at": low, "act_at": high}
        frame = pd.DataFrame(columns).astype({"do_not_act_at": "Int64"})
        frame["do_not_act_at"] = frame["do_not_act_at"].where(low >= 0)
        return frame


def error_curve(
    rule: SequentialRule, means: "np.ndarray | list[float]", runs: int = 4000, seed: int = 1
) -> pd.DataFrame:
    """Chance to act and plants looked at, by simulation, for each true mean per plant.

    Columns: mean, chance_to_act, plants (expected), plants_90 (nine of ten need no more).
    """
    rng = np.random.default_rng(seed)
    rows = []
    for mean in np.asarray(means, dtype=float):
        act, plants = _run(rule, mean, runs, rng)
        rows.append((mean, act.mean(), plants.mean(), np.quantile(plants, 0.9)))
    return pd.DataFrame(rows, columns=["mean", "chance_to_act", "plants", "plants_90"])


def _run(
    rule: SequentialRule, mean: float, runs: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    shape = (runs, rule.most)
    counts = rng.poisson(mean * rng.gamma(rule.k, 1 / rule.k, shape))
    total, plants = counts.cumsum(axis=1), np.arange(1, rule.most + 1)
    looked = plants >= rule.fewest
    above = (total >= rule.slope * plants + rule.upper) & looked
    below = (total <= rule.slope * plants + rule.lower) & looked
    decided = above | below
    first = np.where(decided.any(axis=1), decided.argmax(axis=1), rule.most - 1)
    runs_index = np.arange(runs)
    undecided = ~decided[runs_index, first]
    by_mean = total[:, -1] / rule.most >= rule.slope
    return np.where(undecided, by_mean, above[runs_index, first]), plants[first]
