"""Counts that are odd beside their neighbours: too high, zero for one visit, rounded."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import special

from trialkit.intake.problems import Problem
from trialkit.intake.suspicion.rows import Rows, Tables, of_plots

_RARE: Final = 1e-7
_FEWEST_ALIKE: Final = 6


def counts_off(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """A count far above those of the same treatment and day.

    Held against a negative binomial with mean and dispersion of the other counts alike, the latter
    pooled over all days; asked about where one so high has a chance below 1 in 10 million.
    """
    rows = tables["scouting"]
    if not len(rows):
        return
    group = _group_of(rows, tables["plots"])
    count = rows.values("count")
    n, total = np.bincount(group), np.bincount(group, count)
    size = _size_of(n, total, np.bincount(group, count**2))
    may_be = (n[group] >= _FEWEST_ALIKE) & (count >= 10)
    mean = (total[group] - count + 0.5) / np.maximum(n[group] - 1, 1)
    odd = np.zeros(len(rows), dtype=bool)
    odd[may_be] = _chance(count[may_be], size, mean[may_be]) < _RARE
    if odd.any():
        words = [
            f"'{{value}}' is far from the others of this treatment and day, mean {m:.1f}"
            for m in mean[odd]
        ]
        remedy = "Look at the field sheet for a digit too many, and at the plant if it stands"
        yield (
            "scouting",
            Problem("count_far_off", words, remedy, rows.at(odd), "count", "question"),
        )


def _chance(count: np.ndarray, size: float, mean: np.ndarray) -> np.ndarray:
    """Chance that a negative binomial of this size and mean is as high as each count, or higher."""
    return special.betaincc(size, count, size / (size + mean))


def _group_of(rows: Rows, plots: Rows) -> np.ndarray:
    """Number of the group of rows of one organism, stage, treatment and day that a row is of."""
    group = np.zeros(len(rows), dtype=np.int64)
    treatment = of_plots(rows, plots, "treatment")
    for codes, found in (rows.words("organism"), rows.words("stage"), treatment, rows.days()):
        group = group * (len(found) + 1) + codes + 1
    return pd.factorize(group)[0]


def _size_of(n: np.ndarray, total: np.ndarray, squares: np.ndarray) -> float:
    """Dispersion of the negative binomial by moments: the median over groups, at most 50."""
    kept = (n >= _FEWEST_ALIKE) & (total > n)
    if not kept.any():
        return 1.0
    n, total, squares = n[kept], total[kept], squares[kept]
    mean = total / n
    excess = ((squares - total * mean) / (n - 1) - mean) / mean**2
    return float(1 / np.clip(np.quantile(excess, 0.6), 0.02, 4))


def zero_visits(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """A plot with nothing at one visit, and plenty at the ones before and after."""
    rows = tables["scouting"]
    (organism, _), (stage, stages) = rows.words("organism"), rows.words("stage")
    # Rows without a stage come before those of the first.
    kind = np.where(organism < 0, -1, organism * (len(stages) + 1) + stage + 1)
    treatment, _ = of_plots(rows, tables["plots"], "treatment")
    for one in np.unique(kind[kind >= 0]):
        part = np.flatnonzero(kind == one)
        seen = _seen(rows, part, treatment)
        before, after = np.full_like(seen.mean, np.nan), np.full_like(seen.mean, np.nan)
        before[1:], after[:-1] = seen.mean[:-1], seen.mean[1:]
        least = np.where(before <= after, before, after)
        for at, plot in zip(*np.nonzero((seen.mean == 0) & (least >= 2)), strict=True):
            if seen.is_alone(at, plot, least[at, plot]):
                here = int(rows.index[part][seen.cell == at * len(seen.plots) + plot][0])
                around = before[at, plot], after[at, plot]
                yield "scouting", _zero(here, seen.plots[plot], *around)


@dataclass(frozen=True)
class _Seen:
    """Rows, total and mean count by date (rows, in order) and plot (columns, in order).

    ``cell`` is the place of each row among them, row by row.
    """

    plots: list[str]
    treatment: np.ndarray
    n: np.ndarray
    total: np.ndarray
    mean: np.ndarray
    cell: np.ndarray

    def is_alone(self, at: int, plot: int, least: float) -> bool:
        """Say whether its treatment has plenty in other plots at this visit."""
        same = self.treatment == self.treatment[plot]
        alike = self.total[at, same].sum() / self.n[at, same].sum()
        return bool(alike >= 0.4 * least and self.n[at, plot] * least >= 12)


def _seen(rows: Rows, part: np.ndarray, treatments: np.ndarray) -> _Seen:
    days, dates = pd.factorize(rows.days()[0][part], sort=True)
    codes, found = pd.factorize(rows.words("plot")[0][part], sort=True)
    shape, at = (len(dates), len(found)), days * len(found) + codes
    n = np.bincount(at, minlength=shape[0] * shape[1])
    total = np.bincount(at, rows.values("count")[part], shape[0] * shape[1])
    mean = np.divide(total, n, out=np.full(len(n), np.nan), where=n > 0)
    treatment = np.empty(len(found), dtype=np.int64)
    treatment[codes] = treatments[part]
    plots = [rows.words("plot")[1][code] for code in found]
    n, total, mean = (table.reshape(shape) for table in (n, total, mean))
    return _Seen(plots, treatment, n, total, mean, at)


def _zero(row: int, plot: str, before: float, after: float) -> Problem:
    return Problem(
        "zero_visit",
        f"plot {plot} has none at this visit, but {before:.1f} a plant before, {after:.1f} after",
        "Look whether the plot was scouted that day; a plot not scouted has no row",
        [row],
        "count",
        "question",
    )


def digit_preference(tables: Tables) -> Iterator[tuple[str, Problem]]:
    """Counts from 10 up that end in 0 or 5 far more often than one in five."""
    rows = tables["scouting"]
    count, (codes, names) = rows.values("count"), rows.words("observer")
    large = np.flatnonzero(count >= 10)
    who, firsts, of_row = np.unique(codes[large], return_index=True, return_inverse=True)
    n, rounded = np.bincount(of_row), np.bincount(of_row, count[large] % 5 == 0).astype(int)
    # Chance of so many or more of n, were it one in five (binomial).
    often = (n >= 20) & (special.bdtrc(rounded - 1.0, n, 0.2) < _RARE)
    for at in np.flatnonzero(often):
        counted = f" of {names[who[at]]}" if who[at] >= 0 else ""
        yield (
            "scouting",
            Problem(
                "digit_preference",
                f"{rounded[at]} of {n[at]} counts{counted} from 10 up end in 0 or 5",
                "Ask whether they were counted or estimated; estimates make differences coarse",
                [int(rows.index[large[firsts[at]]])],
                "count",
                "question",
            ),
        )
