"""Counts that are odd beside their neighbours: too high, zero for one visit, by one observer."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.intake.problems import Problem, rows_where

_RARE: Final = 1e-7
_FEWEST_ALIKE: Final = 6
_FAR: Final = 5.0
_ALIKE: Final = ["organism", "stage", "treatment", "date"]
SCOUTED: Final = "scouted"  # key of rows that were joined already


def scouted(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the scouting rows with block and treatment of their plots from the layout.

    Their words are categories, which groups of thousands of rows are formed by much sooner.
    """
    if SCOUTED in tables:
        return tables[SCOUTED]
    rows, layout = tables["scouting"], tables["plots"]
    words = {name: rows[name].astype("category") for name in ("organism", "plot", "observer")}
    at = pd.Index(layout["plot"]).get_indexer(words["plot"].cat.categories)
    of_row = np.append(at, -1)[words["plot"].cat.codes]
    for name in ("block", "treatment"):
        words[name] = pd.Series(_taken(layout[name], of_row), index=rows.index)
    words["stage"] = rows["stage"].fillna("").astype("category")
    return rows.assign(**words)


def _taken(words: pd.Series, at: np.ndarray) -> pd.Categorical:
    """Words at positions, as categories; missing at position -1."""
    known = words.astype("category").array
    codes = np.append(known.codes, -1)[at]
    return pd.Categorical.from_codes(codes, known.categories)


def counts_off(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A count far above those of the same treatment and day.

    Held against a negative binomial with mean and dispersion of the other counts alike, the latter
    pooled over all days; asked about where one so high has a chance below 1 in 10 million.
    """
    rows = scouted(tables)
    if rows.empty:
        return
    group = _group_of(rows)
    count = rows["count"].to_numpy()
    n, total = np.bincount(group), np.bincount(group, count)
    size = _size_of(n, total, np.bincount(group, count**2))
    may_be = (n[group] >= _FEWEST_ALIKE) & (count >= 10)
    mean = (total[group] - count + 0.5) / np.maximum(n[group] - 1, 1)
    odd = pd.Series(False, index=rows.index)
    high = stats.nbinom.sf(count[may_be] - 1, size, size / (size + mean[may_be])) < _RARE
    odd[may_be] = high
    if odd.any():
        words = [
            f"'{{value}}' is far from the others of this treatment and day, mean {m:.1f}"
            for m in mean[odd.to_numpy()]
        ]
        remedy = "Look at the field sheet for a digit too many, and at the plant if it stands"
        yield (
            "scouting",
            Problem("count_far_off", words, remedy, rows_where(odd), "count", "question"),
        )


def _group_of(rows: pd.DataFrame) -> np.ndarray:
    """Number of the group of rows alike that each row belongs to."""
    group = np.zeros(len(rows), dtype=np.int64)
    for name in _ALIKE:
        codes, found = pd.factorize(rows[name].array)
        group = group * (len(found) + 1) + codes + 1
    return np.unique(group, return_inverse=True)[1]


def _size_of(n: np.ndarray, total: np.ndarray, squares: np.ndarray) -> float:
    """Dispersion of the negative binomial by moments: the median over groups, at most 50."""
    kept = (n >= _FEWEST_ALIKE) & (total > n)
    if not kept.any():
        return 1.0
    n, total, squares = n[kept], total[kept], squares[kept]
    mean = total / n
    excess = ((squares - total * mean) / (n - 1) - mean) / mean**2
    return float(1 / np.clip(np.quantile(excess, 0.6), 0.02, 4))


def zero_visits(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A plot with nothing at one visit, and plenty at the ones before and after."""
    rows = scouted(tables)
    for _, part in rows.groupby(["organism", "stage"], observed=True):
        seen = _seen(part)
        before, after = np.full_like(seen.mean, np.nan), np.full_like(seen.mean, np.nan)
        before[1:], after[:-1] = seen.mean[:-1], seen.mean[1:]
        least = np.where(before <= after, before, after)
        for at, plot in zip(*np.nonzero((seen.mean == 0) & (least >= 2)), strict=True):
            if seen.is_alone(at, plot, least[at, plot]):
                here = (part["date"] == seen.dates[at]) & (part["plot"] == seen.plots[plot])
                yield (
                    "scouting",
                    _zero(part[here], seen.plots[plot], before[at, plot], after[at, plot]),
                )


@dataclass(frozen=True)
class _Seen:
    """Rows, total and mean count by date (rows, in order) and plot (columns, in order)."""

    dates: pd.Index
    plots: pd.Index
    treatment: np.ndarray
    n: np.ndarray
    total: np.ndarray
    mean: np.ndarray

    def is_alone(self, at: int, plot: int, least: float) -> bool:
        """Say whether its treatment has plenty in other plots at this visit."""
        same = self.treatment == self.treatment[plot]
        alike = self.total[at, same].sum() / self.n[at, same].sum()
        return bool(alike >= 0.4 * least and self.n[at, plot] * least >= 12)


def _seen(part: pd.DataFrame) -> _Seen:
    days, dates = pd.factorize(part["date"].array, sort=True)
    codes, plots = pd.factorize(part["plot"].array, sort=True)
    shape, at = (len(dates), len(plots)), days * len(plots) + codes
    n = np.bincount(at, minlength=shape[0] * shape[1])
    total = np.bincount(at, part["count"].to_numpy(), shape[0] * shape[1])
    mean = np.divide(total, n, out=np.full(len(n), np.nan), where=n > 0)
    treatment = np.empty(len(plots), dtype=np.int64)
    treatment[codes] = part["treatment"].cat.codes
    tables = (n.reshape(shape), total.reshape(shape), mean.reshape(shape))
    return _Seen(pd.Index(dates), pd.Index(plots), treatment, *tables)


def _zero(visit: pd.DataFrame, plot: object, before: float, after: float) -> Problem:
    return Problem(
        "zero_visit",
        f"plot {plot} has none at this visit, but {before:.1f} a plant before, {after:.1f} after",
        "Look whether the plot was scouted that day; a plot not scouted has no row",
        [int(row) for row in visit.index[:1]],
        "count",
        "question",
    )


def observers(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """An observer whose counts run high or low beside others on the same days and treatments."""
    rows = scouted(tables).dropna(subset="observer")
    if rows["observer"].nunique() < 2:
        return
    if not _shared_days(rows):
        return
    keys = [*_ALIKE, "plot", "observer"]
    seen = rows.groupby(keys, as_index=False, observed=True)["count"].mean()
    shared = seen.groupby(_ALIKE, observed=True)["observer"].transform("nunique") > 1
    seen = seen[shared]
    for name in sorted(seen["observer"].unique()):
        mine = seen["observer"] == name
        means = seen.groupby([*_ALIKE, mine], observed=True)["count"].mean().unstack().dropna()
        ratio, t = _ratio(means[True].to_numpy(), means[False].to_numpy())
        if len(means) >= 8 and abs(t) > _FAR and max(ratio, 1 / ratio) > 1.6:
            yield "scouting", _observer(rows, name, ratio, len(means))


def _shared_days(rows: pd.DataFrame) -> bool:
    """Say whether any day was scouted by more than one observer."""
    pairs = rows[["date", "observer"]].drop_duplicates()
    return bool(pairs["date"].duplicated().any())


def _ratio(own: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """Ratio of two sums of pairs, and its logarithm in standard errors (by linearisation)."""
    if own.sum() <= 0 or other.sum() <= 0:
        return 1.0, 0.0
    ratio = float(own.sum() / other.sum())
    error = float(np.sqrt(((own - ratio * other) ** 2).sum()) / own.sum())
    return ratio, float(np.log(ratio) / error) if error > 0 else 0.0


def _observer(rows: pd.DataFrame, name: str, ratio: float, n: int) -> Problem:
    return Problem(
        "observer_differs",
        f"{name} counts {ratio:.1f} times what others count in the same treatments ({n} days and "
        "treatments)",
        "Let both count the same ten plants, and agree on what is counted",
        [int(row) for row in rows.index[rows["observer"] == name][:1]],
        "observer",
        "question",
    )


def digit_preference(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """Counts from 10 up that end in 0 or 5 far more often than one in five."""
    rows = tables["scouting"]
    rows = rows[rows["count"] >= 10]
    for observer, part in rows.groupby(rows["observer"].fillna("")):
        rounded = int((part["count"] % 5 == 0).sum())
        n = len(part)
        if n >= 20 and stats.binom.sf(rounded - 1, n, 0.2) < _RARE:
            who = f" of {observer}" if observer else ""
            yield (
                "scouting",
                Problem(
                    "digit_preference",
                    f"{rounded} of {n} counts{who} from 10 up end in 0 or 5",
                    "Ask whether they were counted or estimated; estimates make differences coarse",
                    [int(part.index[0])],
                    "count",
                    "question",
                ),
            )
