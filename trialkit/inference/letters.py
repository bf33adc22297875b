"""Compact letters: treatments that share a letter are not shown to differ."""

import string

import numpy as np


def letters(differ: np.ndarray) -> list[str]:
    """Return the letters of k treatments from a (k, k) matrix of which pairs differ.

    Insert and absorb (Piepho 2004, J. Comput. Graph. Stat. 13:456): start with one column that
    holds all; for each pair that differs, split every column holding both into two that each lack
    one; drop a column that another contains. Two treatments share a letter exactly if they do not
    differ. The first treatment gets ``a``: order them by mean, largest first.

    >>> letters(np.array([[0, 0, 1], [0, 0, 0], [1, 0, 0]], dtype=bool))
    ['a', 'ab', 'b']
    """
    k = len(differ)
    columns = [frozenset(range(k))]
    for i in range(k):
        for j in range(i + 1, k):
            if differ[i, j] or differ[j, i]:
                columns = _absorb(_insert(columns, i, j))
    columns.sort(key=sorted)
    return [
        "".join(_letter(n) for n, column in enumerate(columns) if i in column) for i in range(k)
    ]


def _insert(columns: list[frozenset[int]], i: int, j: int) -> list[frozenset[int]]:
    split = []
    for column in columns:
        split += [column - {i}, column - {j}] if {i, j} <= column else [column]
    return split


def _absorb(columns: list[frozenset[int]]) -> list[frozenset[int]]:
    distinct = list(dict.fromkeys(columns))
    return [c for c in distinct if not any(c < other for other in distinct)]


def _letter(n: int) -> str:
    alphabet = string.ascii_lowercase
    return alphabet[n] if n < 26 else alphabet[n // 26 - 1] + alphabet[n % 26]
