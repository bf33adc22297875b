"""Factor labels: turning what a column holds into text, and putting text in natural order."""

import re
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
import pandas as pd

_NUMBER = re.compile(r"(\d+(?:\.\d+)?)")


def label_of(value: object) -> str | None:
    """Return the text of one factor level, or None where the cell is empty.

    Whole numbers that a spreadsheet turned into floats lose their ``.0``.

    >>> label_of(25.0), label_of(" mulch "), label_of(float("nan")), label_of("")
    ('25', 'mulch', None, None)
    """
    if type(value) is str:  # most labels are, and cost the least this way
        return value.strip() or None
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, float | np.floating):
        if np.isnan(value):
            return None
        if float(value).is_integer():
            return str(int(value))
    text = str(value).strip()
    return text or None


@lru_cache(maxsize=4096)
def natural_key(label: str) -> tuple[tuple[int, float, str], ...]:
    """Return a sort key by which ``T2`` comes before ``T10`` and numbers before words.

    >>> sorted(["T10", "T2", "100", "25"], key=natural_key)
    ['25', '100', 'T2', 'T10']
    """
    pieces = [piece for piece in _NUMBER.split(label) if piece]
    return tuple(
        (0, float(piece), "") if _NUMBER.fullmatch(piece) else (1, 0.0, piece.casefold())
        for piece in pieces
    )


def natural_order(labels: Iterable[str], first: str | None = None) -> list[str]:
    """Return the distinct labels in natural order, with ``first`` (the check) leading.

    >>> natural_order(["mulch", "check", "netting"], first="check")
    ['check', 'mulch', 'netting']
    """
    ordered = sorted(set(labels), key=lambda label: (natural_key(label), label))
    return [first, *(x for x in ordered if x != first)] if first in ordered else ordered
