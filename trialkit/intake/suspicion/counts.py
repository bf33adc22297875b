"""Counts that are odd beside their neighbours: too high, zero for one visit, by one observer."""

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.intake.problems import Problem, rows_where

_RARE: Final = 1e-7
_FEWEST_ALIKE: Final = 6
_FAR: Final = 5.0
_ALIKE: Final = ["organism", "stage", "treatment", "date"]
_WORDS: Final = ("organism", "stage", "treatment", "plot", "observer")
SCOUTED: Final = "scouted"  # key of rows that were joined already


def scouted(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the scouting rows with block and treatment of their plots from the layout.

    Their words are categories, which groups of thousands of rows are formed by much sooner.
    """
    if SCOUTED in tables:
        return tables[SCOUTED]
    layout = tables["plots"].set_index("plot")[["block", "treatment"]]
    rows = tables["scouting"].drop(columns="treatment", errors="ignore")
    rows = rows.assign(stage=rows["stage"].fillna("")).join(layout, on="plot")
    return rows.assign(**{name: rows[name].astype("category") for name in _WORDS})


def counts_off(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A count far above those of the same treatment and day.

    Held against a negative binomial with mean and dispersion of the other counts alike, the latter
    pooled over all days; asked about where one so high has a chance below 1 in 10 million.
    """
    rows = scouted(tables)
    if rows.empty:
        return
    groups = rows.groupby(_ALIKE, observed=True)["count"]
    n, total = groups.transform("size"), groups.transform("sum")
    mean = (total - rows["count"] + 0.5) / (n - 1).clip(lower=1)
    size = _size_of(rows)
    chance = stats.nbinom.sf(rows["count"] - 1, size, size / (size + mean))
    odd = (n >= _FEWEST_ALIKE) & (chance < _RARE) & (rows["count"] >= 10)
    if odd.any():
        words = [
            f"'{{value}}' is far from the others of this treatment and day, mean {m:.1f}"
            for m in mean[odd]
        ]
        remedy = "Look at the field sheet for a digit too many, and at the plant if it stands"
        yield (
            "scouting",
            Problem("count_far_off", words, remedy, rows_where(odd), "count", "question"),
        )


def _size_of(rows: pd.DataFrame) -> float:
    """Dispersion of the negative binomial by moments: the median over groups, at most 50."""
    about = rows.groupby(_ALIKE, observed=True)["count"].agg(["mean", "var", "size"])
    about = about[(about["size"] >= _FEWEST_ALIKE) & (about["mean"] > 1)]
    if about.empty:
        return 1.0
    excess = (about["var"] - about["mean"]) / about["mean"] ** 2
    return float(1 / np.clip(excess.quantile(0.6), 0.02, 4))


def zero_visits(tables: Mapping[str, pd.DataFrame]) -> Iterator[tuple[str, Problem]]:
    """A plot with nothing at one visit, and plenty at the ones before and after."""
    rows = scouted(tables)
    for _, part in rows.groupby(["organism", "stage"], observed=True):
        mean = part.pivot_table(index="date", columns="plot", values="count", observed=True)
        before, after = mean.shift(1), mean.shift(-1)
        least = before.where(before <= after, after)
        for at, plot in zip(*np.nonzero(((mean == 0) & (least >= 2)).to_numpy()), strict=True):
            visit = _alone(part, mean.index[at], mean.columns[plot], least.to_numpy()[at, plot])
            if len(visit):
                ends = before.to_numpy()[at, plot], after.to_numpy()[at, plot]
                yield "scouting", _zero(visit, mean.columns[plot], *ends)


def _alone(part: pd.DataFrame, date: object, plot: object, least: float) -> pd.DataFrame:
    """Rows of a plot at a visit, where its treatment has plenty in other plots; else none."""
    day = part[part["date"] == date]
    visit = day[day["plot"] == plot]
    alike = day.loc[day["treatment"] == visit["treatment"].iloc[0], "count"].mean()
    plenty = alike >= 0.4 * least and len(visit) * least >= 12
    return visit if plenty else visit.iloc[:0]


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
