"""Rows of a frame as plain records, for drawing them one by one."""

from collections import namedtuple
from functools import lru_cache
from typing import Any

import pandas as pd


def rows_of(frame: pd.DataFrame) -> list[Any]:
    """Return the rows as named tuples; their fields are what the frame's columns hold."""
    columns = [frame[name].tolist() for name in frame.columns]
    return [*map(_record(tuple(frame.columns))._make, zip(*columns, strict=True))]


@lru_cache(maxsize=256)
def _record(names: tuple[str, ...]) -> Any:
    """A kind of record is made by writing and running its code, so it is kept."""
    return namedtuple("Row", names, rename=True)
