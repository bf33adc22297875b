"""The tables as intake hands them over, made safe to compute with: all columns, no surprises."""

from collections.abc import Mapping
from typing import Final

import pandas as pd

COLUMNS: Final = {
    "scouting": ("date", "plot", "plant", "organism", "stage", "count"),
    "ratings": ("date", "plot", "what", "score"),
    "harvest": ("date", "plot", "grade", "cull_cause", "fruit", "weight"),
    "fruit_sizes": ("date", "plot", "length", "diameter"),
    "events": ("date", "plot", "event"),
    "weather": ("date", "tmin", "tmax", "rain"),
}


def plots_of(tables: Mapping[str, pd.DataFrame]) -> pd.DataFrame:
    """Return the plots table with every column that measures use and ``lost`` never missing."""
    wanted = ["plot", "block", "treatment", "plants", "area", "lost"]
    plots = tables["plots"].reindex(columns=wanted).reset_index(drop=True)
    lost = plots["lost"].astype("object").where(plots["lost"].notna(), "")
    numbers = {name: pd.to_numeric(plots[name]) for name in ("plants", "area")}
    return plots.assign(lost=lost.astype(str).str.strip(), **numbers)


def table_of(tables: Mapping[str, pd.DataFrame], name: str) -> pd.DataFrame:
    """Return a table with all its columns and dated rows only, empty where there is none."""
    table = tables.get(name)
    columns = list(COLUMNS[name])
    if table is None or table.empty:
        empty = pd.DataFrame(columns=columns)
        return empty.assign(date=pd.to_datetime(empty["date"]))
    table = table.reindex(columns=columns)
    return table[table["date"].notna()].reset_index(drop=True)


def is_blank(cells: pd.Series) -> pd.Series:
    """Say which cells are empty: missing, or text of nothing but blanks."""
    return cells.isna() | (cells.astype("object").astype(str).str.strip() == "")
