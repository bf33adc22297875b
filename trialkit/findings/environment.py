"""One site-season as it enters an answer across: its plot values and its own effects."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Environment:
    """One site-season that takes part: its plot values and its own effects (columns EFFECTS)."""

    season: int
    site: str
    values: pd.DataFrame
    effects: pd.DataFrame


def environment_label(season: int, site: str) -> str:
    """Identifier of a site-season inside an analysis across."""
    return f"{season}_{site}"
