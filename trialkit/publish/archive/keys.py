"""Primary and foreign keys of the archive's tables: those that the rows bear out, and no others."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd

PLOT: Final = ("season", "site", "plot")
_PRIMARY: Final[Mapping[str, tuple[str, ...]]] = {
    **dict.fromkeys(("treatments", "sites", "organisms", "cull_causes"), ("id",)),
    **dict.fromkeys(("rating_scales", "measures"), ("id",)),
    "seasons": ("year",),
    "plots": PLOT,
    "weather": ("season", "site", "date"),
    "costs": ("treatment", "item"),
}
# (columns, table that they lead to, columns there)
Reference = tuple[tuple[str, ...], str, tuple[str, ...]]
_PLACE: Final[tuple[Reference, ...]] = (
    (("season",), "seasons", ("year",)),
    (("site",), "sites", ("id",)),
)
_TREATMENT: Final[Reference] = (("treatment",), "treatments", ("id",))
_OF_PLOT: Final[Reference] = (PLOT, "plots", PLOT)
_FOREIGN: Final[Mapping[str, tuple[Reference, ...]]] = {
    "plots": (*_PLACE, _TREATMENT),
    "scouting": (_OF_PLOT, (("organism",), "organisms", ("id",))),
    "ratings": (_OF_PLOT, (("what",), "rating_scales", ("id",))),
    "harvest": (_OF_PLOT, (("cull_cause",), "cull_causes", ("id",))),
    "fruit_sizes": (_OF_PLOT,),
    "events": _PLACE,
    "weather": _PLACE,
    "costs": (_TREATMENT,),
    "measures": ((("organism",), "organisms", ("id",)),),
    "left_out": _PLACE,
}


@dataclass(frozen=True)
class Keys:
    """The primary key of a table, and its references to others."""

    primary: tuple[str, ...] = ()
    foreign: tuple[Reference, ...] = ()

    def to_schema(self) -> dict[str, Any]:
        """Return the keys as Table Schema has them."""
        told: dict[str, Any] = {"primaryKey": list(self.primary)} if self.primary else {}
        if self.foreign:
            told["foreignKeys"] = [
                {
                    "fields": list(here),
                    "reference": {"resource": table, "fields": list(there)},
                }
                for here, table, there in self.foreign
            ]
        return told


def true_keys(name: str, frames: Mapping[str, pd.DataFrame]) -> Keys:
    """Return the keys of a table that hold for every row of it."""
    primary = _PRIMARY.get(name, ())
    return Keys(
        primary if primary and _identifies(frames[name], primary) else (),
        tuple(one for one in _FOREIGN.get(name, ()) if _holds(frames[name], one, frames)),
    )


def _identifies(frame: pd.DataFrame, columns: Sequence[str]) -> bool:
    cells = frame[list(columns)]
    return not cells.isna().to_numpy().any() and not cells.duplicated().any()


def _holds(frame: pd.DataFrame, one: Reference, frames: Mapping[str, pd.DataFrame]) -> bool:
    here, table, there = one
    if table not in frames:
        return False
    cells = frame[list(here)].drop_duplicates()
    if len(here) == 1:  # an empty cell refers to nothing
        cells = cells.dropna()
    known = frames[table][list(there)].drop_duplicates().set_axis(list(here), axis=1)
    as_text = {name: cells[name].astype("str") for name in here}
    return len(pd.DataFrame(as_text).merge(known.astype("str"))) == len(cells)
