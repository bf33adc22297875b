"""Rows of a frame as plain records, for drawing them one by one."""

from typing import Any

import pandas as pd


def rows_of(frame: pd.DataFrame) -> list[Any]:
    """Return the rows as named tuples; their fields are what the frame's columns hold."""
    return list(frame.itertuples(index=False))
