"""Latin squares drawn uniformly at random.

Up to order 5 every reduced square (first row and column in order) is listed and one is drawn; any
square comes from exactly one reduced square by reordering its columns and all rows but the first,
so the draw is exactly uniform. From order 6 on the Markov chain of Jacobson & Matthews (1996,
"Generating uniformly distributed random Latin squares", Journal of Combinatorial Designs 4,
405-437) is run, whose limit is the uniform distribution.
"""

import random
from collections.abc import Iterator
from functools import lru_cache

import numpy as np

Cell = tuple[int, int, int]
Cube = list[list[list[int]]]
LISTED_ORDER = 5


def latin_square(order: int, rng: np.random.Generator) -> np.ndarray:
    """Return an (order, order) array of the symbols 0 to order - 1, each once per row and column.

    >>> latin_square(1, np.random.default_rng(1))
    array([[0]])
    """
    if order > LISTED_ORDER:
        return markov_square(order, rng, visits=order**3)
    listed = reduced_squares(order)
    square = np.array(listed[rng.integers(len(listed))])
    rows = np.concatenate([[0], 1 + rng.permutation(order - 1)]).astype(int)
    return square[rows][:, rng.permutation(order)]


@lru_cache(maxsize=LISTED_ORDER + 1)
def reduced_squares(order: int) -> tuple[tuple[tuple[int, ...], ...], ...]:
    """Every Latin square whose first row and column are in order.

    There are 1, 4 and 56 of order 3, 4 and 5; times order! (order - 1)! these give the 12, 576 and
    161,280 Latin squares.

    >>> len(reduced_squares(4))
    4
    """
    return tuple(_completions((tuple(range(order)),), order))


def _completions(rows: tuple[tuple[int, ...], ...], order: int) -> Iterator[tuple]:
    if len(rows) == order:
        yield rows
        return
    used = [set(column) for column in zip(*rows, strict=True)]
    for row in _rows((len(rows),), used, order):
        yield from _completions((*rows, row), order)


def _rows(start: tuple[int, ...], used: list[set[int]], order: int) -> Iterator[tuple[int, ...]]:
    if len(start) == order:
        yield start
        return
    for symbol in range(order):
        if symbol not in start and symbol not in used[len(start)]:
            yield from _rows((*start, symbol), used, order)


def markov_square(order: int, rng: np.random.Generator, visits: int) -> np.ndarray:
    """Return the square at which Jacobson and Matthews' chain makes its ``visits``-th stop.

    The state is an incidence cube with line sums of one. An improper state has a single -1 and is
    left by further moves; only proper squares count as stops, since the chain watched at its proper
    squares alone has the uniform distribution as its limit. Rows, columns and symbols are then put
    in random order, which keeps that limit and forgets the start sooner.
    """
    chance = random.Random(int(rng.integers(2**63)))
    cube = [[[int((r + c) % order == s) for s in range(order)] for c in range(order)]
            for r in range(order)]  # fmt: skip
    improper: Cell | None = None
    while visits > 0:
        improper = _move(cube, improper or _empty_cell(cube, chance), chance)
        visits -= improper is None
    square = np.argmax(np.array(cube), axis=2)
    square = rng.permutation(order)[square]
    return square[rng.permutation(order)][:, rng.permutation(order)]


def _empty_cell(cube: Cube, chance: random.Random) -> Cell:
    order = len(cube)
    while True:
        row, column, symbol = (int(chance.random() * order) for _ in range(3))
        if cube[row][column][symbol] == 0:
            return row, column, symbol


def _move(cube: Cube, cell: Cell, chance: random.Random) -> Cell | None:
    """Add one at ``cell`` and keep all line sums; return the improper cell if one arises."""
    row, column, symbol = cell
    order = range(len(cube))
    other_row = chance.choice([r for r in order if cube[r][column][symbol] == 1])
    other_column = chance.choice([c for c in order if cube[row][c][symbol] == 1])
    other_symbol = chance.choice([s for s in order if cube[row][column][s] == 1])
    for r, add_r in ((row, 1), (other_row, -1)):
        for c, add_c in ((column, 1), (other_column, -1)):
            cube[r][c][symbol] += add_r * add_c
            cube[r][c][other_symbol] -= add_r * add_c
    corner = cube[other_row][other_column][other_symbol]
    return (other_row, other_column, other_symbol) if corner < 0 else None
