"""Rows of a frame as plain records, for drawing them one by one."""

from types import SimpleNamespace
from typing import Any

import pandas as pd


def rows_of(frame: pd.DataFrame) -> list[Any]:
    """Return the rows as records; their attributes are what the frame's columns hold."""
    names = frame.columns.tolist()
    columns = [frame[name].tolist() for name in names]
    values = zip(*columns, strict=True)
    return [SimpleNamespace(**dict(zip(names, row, strict=True))) for row in values]
