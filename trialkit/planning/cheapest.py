"""The cheapest layout that settles a question: power and cost of every size of trial."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.planning.power import (
    Components,
    TrialSize,
    power_of_difference,
    residual_df,
    smallest_detectable,
    too_few,
)


@dataclass(frozen=True)
class Prices:
    """Cost of a plot, of a site (both a season) and of a season, in one currency."""

    plot: float
    site: float = 0.0
    season: float = 0.0

    def of(self, size: TrialSize) -> float:
        """Cost of the whole trial.

        >>> Prices(plot=10, site=100, season=1000).of(TrialSize(5, blocks=4, sites=2, seasons=3))
        4800.0
        """
        a_season = self.season + size.sites * self.site + size.plots * self.plot
        return float(size.seasons * a_season)


def sizes(
    treatments: int, blocks: Sequence[int], sites: Sequence[int], seasons: Sequence[int]
) -> list[TrialSize]:
    """Every combination of blocks, sites and seasons."""
    return [TrialSize(treatments, r, s, y) for y in seasons for s in sites for r in blocks]


def compare(
    candidates: Sequence[TrialSize],
    prices: Prices,
    power: Callable[[TrialSize], float],
    detectable: Callable[[TrialSize], float] | None = None,
    stop_at: float = 2.0,
) -> pd.DataFrame:
    """One row a size, cheapest first: blocks, sites, seasons, plots, cost, df, power, warning.

    Sizes after the first whose power reaches ``stop_at`` are not worked out.
    """
    rows: list[dict[str, object]] = []
    for size in sorted(candidates, key=lambda one: (prices.of(one), one.plots, one.seasons)):
        reached = power(size)
        found = detectable(size) if detectable else float("nan")
        rows.append(_row(size, prices, reached, found))
        if reached >= stop_at:
            break
    return pd.DataFrame(rows)


def _row(size: TrialSize, prices: Prices, power: float, detectable: float) -> dict[str, object]:
    return {
        "blocks": size.blocks,
        "sites": size.sites,
        "seasons": size.seasons,
        "plots_a_season": size.plots,
        "cost": prices.of(size),
        "residual_df": residual_df(size),
        "power": power,
        "smallest_detectable": detectable,
        "warning": too_few(size),
    }


def compare_normal(
    candidates: Sequence[TrialSize], prices: Prices, difference: float, parts: Components
) -> pd.DataFrame:
    """Compare sizes for a continuous measure; ``difference`` and ``parts`` on one scale."""
    return compare(
        candidates,
        prices,
        lambda size: power_of_difference(difference, parts, size),
        lambda size: smallest_detectable(parts, size),
    )


def cheapest(table: pd.DataFrame, power: float = 0.8) -> pd.Series:
    """The cheapest row that reaches the power; raises AnalysisError where none does."""
    enough = table[table["power"] >= power]
    if enough.empty:
        best = table["power"].max()
        raise AnalysisError(
            f"No layout in reach settles this with {power:.0%} power (the best has {best:.0%}). "
            "Allow more blocks, sites or seasons, or ask for a larger difference."
        )
    return enough.iloc[0]
