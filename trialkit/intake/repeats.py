"""Rules on rows that were typed twice, or that tell two things of the same observation."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from trialkit.intake.cells import Typed
from trialkit.intake.context import Context, rows_told
from trialkit.intake.problems import SHEET_STRIDE, Place, Problem, rows_where, source_row

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
# Columns that hold what was seen; a row without any of them says nothing yet.
VALUES: Final = {"scouting": ("count",), "ratings": ("score",), "harvest": ("fruit", "weight")}
# Several crates of one picking, or two lots of one input, may well be typed apart.
_MAY_REPEAT: Final = ("harvest", "costs")


def repeated_rows(typed: Typed, context: Context) -> Iterator[Problem]:
    """Rows typed twice, and rows that tell two things of the same observation."""
    key = [name for name in KEYS.get(typed.sheet.table, ()) if name in typed.frame]
    if not key or len(pd.unique(typed.key(key))) == len(typed.frame):
        return
    unread = [row for name in key for row in rows_told(typed, name)]
    readable = typed.frame.drop(index=[*unread, *_still_blank(typed)], errors="ignore")
    if not readable.duplicated(key).any():
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
            _twice(typed.sheet.place, readable, alike, key),
            "Delete one of the two, or mend it if it tells of something else",
            rows_where(alike),
            key[0] if len(first) else "",
        )
    if differing.any():
        yield from _differing(typed.sheet.place, readable, differing, key)


def _still_blank(typed: Typed) -> list[int]:
    """Rows of a sheet drawn up beforehand into which nobody typed a value: they deny nothing."""
    columns = [name for name in VALUES.get(typed.sheet.table, ()) if name in typed.sheet.cells]
    if not columns:
        return []
    return rows_where(typed.sheet.cells[columns].isna().all(axis=1))


def _twice(place: Place, frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]) -> list[str]:
    firsts = _ends(frame, key)["first"][mask]
    return [
        f"the row says the same as {_row(place, other, seen_from=row)}"
        for row, other in zip(firsts.index, firsts, strict=True)
    ]


def _ends(frame: pd.DataFrame, key: list[str]) -> pd.DataFrame:
    """For every row, the first and the last row that have the same key."""
    rows = pd.Series(frame.index, index=frame.index)
    groups = rows.groupby([frame[name] for name in key], dropna=False)
    return pd.DataFrame({end: groups.transform(end) for end in ("first", "last")})


def _row(place: Place, row: int, seen_from: int) -> str:
    """Name a row, with its file where that is another one."""
    there = place.at(row)
    file = "" if there is place.at(seen_from) else f" of {there.path.rpartition('/')[2]}"
    return f"row {source_row(row)}{file}"


def _differing(
    place: Place, frame: pd.DataFrame, mask: "pd.Series[bool]", key: list[str]
) -> Iterator[Problem]:
    """Rows with one key that say different things, within a file and over several files."""
    ends = _ends(frame[mask], key).reindex(frame.index)
    over_files = mask & (ends["first"] // SHEET_STRIDE != ends["last"] // SHEET_STRIDE)
    if over_files.any():
        yield _over_files(place, ends[over_files], key)
    if (mask & ~over_files).any():
        yield _in_one_file(place.table, mask & ~over_files, key)


def _over_files(place: Place, ends: pd.DataFrame, key: list[str]) -> Problem:
    """Rows that another file contradicts; crates of one day belong into one file, so none adds."""
    others = ends["first"].where(ends["first"] != ends.index, ends["last"]).astype("int64")
    alike = ", ".join(key)
    return Problem(
        "duplicate_plot" if place.table == "plots" else "conflicting_rows",
        [
            f"{_row(place, other, seen_from=row)} has the same {alike} but says something else"
            for row, other in zip(ends.index, others, strict=True)
        ],
        "Look at the field sheets and keep the right one; what adds up belongs into one file",
        [int(row) for row in ends.index],
        key[0],
    )


def _in_one_file(table: str, mask: "pd.Series[bool]", key: list[str]) -> Problem:
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
