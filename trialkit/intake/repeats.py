"""Rules on rows that were typed twice, or that tell two things of the same observation."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.context import Context, rows_told
from trialkit.intake.problems import Problem, rows_where, source_row

# Columns that tell observations apart; two rows alike in all of them contradict each other.
KEYS: Final = {
    "plots": ("plot",),
    "scouting": ("date", "plot", "plant", "organism", "stage"),
    "ratings": ("date", "plot", "what", "observer"),
    "harvest": ("date", "plot", "grade", "cull_cause"),
    "events": ("date", "plot", "event"),
    "weather": ("date",),
    "costs": ("treatment", "item"),
}
# Several crates of one picking, or two lots of one input, may well be typed apart.
_MAY_REPEAT: Final = ("harvest", "costs")


def repeated_rows(typed: Typed, context: Context) -> Iterator[Problem]:
    """Rows typed twice, and rows that tell two things of the same observation."""
    key = [name for name in KEYS.get(typed.sheet.table, ()) if name in typed.frame]
    readable = typed.frame.drop(
        index=[row for name in key for row in rows_told(typed, name)], errors="ignore"
    )
    if not key or not readable.duplicated(key).any():
        return
    alike = readable.duplicated()
    again = readable.duplicated(key, keep=False) & ~alike
    differing = again & readable[again].duplicated(key, keep=False).reindex(
        again.index, fill_value=False
    )
    if alike.any():
        first = readable[~alike].drop_duplicates(key)
        yield Problem(
            "duplicate_plot" if typed.sheet.table == "plots" else "duplicate_row",
            _twice(readable, alike, key),
            "Delete one of the two, or mend it if it tells of something else",
            rows_where(alike),
            key[0] if len(first) else "",
        )
    if differing.any():
        yield _differing(typed.sheet.table, readable, differing, key)


def _twice(frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]) -> list[str]:
    firsts = (
        pd.Series(frame.index, index=frame.index)
        .groupby([frame[name] for name in key], dropna=False)
        .transform("first")
    )
    return [f"the row says the same as row {source_row(row)}" for row in firsts[mask]]


def _differing(table: str, frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]) -> Problem:
    alike = ", ".join(key)
    if table == "plots":
        return Problem(
            "duplicate_plot",
            "plot '{value}' is listed more than once",
            "Give each plot one row",
            rows_where(mask),
            "plot",
        )
    if table in _MAY_REPEAT:
        return Problem(
            "repeated_key",
            f"another row has the same {alike}; both were read and add up",
            "Look whether one of them corrects the other",
            rows_where(mask),
            key[0],
            "question",
        )
    return Problem(
        "conflicting_rows",
        f"another row has the same {alike} but says something else",
        "Look at the field sheet and keep the right one",
        rows_where(mask),
        key[0],
    )
