"""One site-season as it enters an answer across: its plot values and its own effects."""

from dataclasses import dataclass
from functools import cached_property

import pandas as pd


@dataclass(frozen=True)
class Environment:
    """One site-season that takes part: its plot values and its own effects (columns EFFECTS)."""

    season: int
    site: str
    values: pd.DataFrame
    effects: pd.DataFrame

    def analysed(self, measure: str) -> pd.DataFrame:
        """Plot values of one measure that are analysed, with ``environment``."""
        return self._by_measure.get(measure, self._taking_part.iloc[:0])

    @cached_property
    def _taking_part(self) -> pd.DataFrame:
        kept = self.values[self.values["left_out"] == ""]
        return kept.assign(environment=environment_label(self.season, self.site))

    @cached_property
    def _by_measure(self) -> dict[str, pd.DataFrame]:
        return {str(name): rows for name, rows in self._taking_part.groupby("measure", sort=False)}


def environment_label(season: int, site: str) -> str:
    """Identifier of a site-season inside an analysis across."""
    return f"{season}_{site}"
