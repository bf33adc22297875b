"""The order in which plots are walked: up one row and back the next, so that no step is wasted."""

import pandas as pd


def serpentine(plots: pd.DataFrame) -> pd.DataFrame:
    """Return plots in walking order: odd rows by rising column, even rows by falling column.

    ``plots`` needs row and column; a list without them stays in its own order.
    """
    if plots["row"].isna().any() or plots["column"].isna().any():
        return plots.reset_index(drop=True)
    row, column = plots["row"].astype(int), plots["column"].astype(int)
    rank = row.rank(method="dense").astype(int)
    along = column.where(rank % 2 == 1, -column)
    order = pd.DataFrame({"row": row, "along": along}).sort_values(["row", "along"]).index
    return plots.loc[order].reset_index(drop=True)
