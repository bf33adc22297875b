"""Rows of the files that intake could not use: a sum that misses one is not the plot's sum."""

from typing import Final

import pandas as pd

from trialkit.measures.result import leave_out, note
from trialkit.study import Measure

_SUMS: Final = (
    "marketable_yield",
    "marketable_per_plant",
    "early_yield",
    "fruit_number",
    "cull_percent",
)
_TABLES: Final = {
    **dict.fromkeys(_SUMS, "harvest"),
    "mean_fruit_weight": "harvest",
    "target_size_share": "fruit_sizes",
    "damage_curve": "ratings",
    "final_score": "ratings",
    **dict.fromkeys(
        ("insect_days", "season_mean", "peak_count", "days_to_threshold", "percent_infested"),
        "scouting",
    ),
}
# A row that says the same as another one took nothing away when it dropped out.
_HARMLESS: Final = ("duplicate_row",)


def without_dropped(
    frame: pd.DataFrame, measure: Measure, dropped: pd.DataFrame | None
) -> pd.DataFrame:
    """Return a measure's ``frame`` with what the dropped rows of its table mean for each plot.

    ``dropped`` has columns table, row, plot (as typed), code. A total over the pickings (of fruit,
    weight or culls) is left out where a row is missing from it; a mean stays, with a note.
    """
    if dropped is None or dropped.empty or measure.kind not in _TABLES:
        return frame
    table = _TABLES[measure.kind]
    rows = dropped[(dropped["table"] == table) & ~dropped["code"].isin(_HARMLESS)]
    names = rows["plot"].astype(str).str.strip()
    listed = rows["row"].astype(int).astype(str).groupby(names).agg(", ".join)
    listed = listed.reindex([plot for plot in frame.index if str(plot) in listed.index])
    if listed.empty:
        return frame
    if measure.kind not in _SUMS:
        return note(frame, listed.index, _words(listed, table, "left out of the value"))
    frame = leave_out(frame, listed.index, _words(listed, table, "missing from the sum"))
    return frame.assign(value=frame["value"].mask(frame.index.isin(listed.index)))


def _words(listed: pd.Series, table: str, what: str) -> pd.Series:
    texts = [
        f"rows {rows} of {table} could not be used and are {what}"
        if "," in rows
        else f"row {rows} of {table} could not be used and is {what}"
        for rows in listed
    ]
    return pd.Series(texts, index=listed.index, dtype=object)
