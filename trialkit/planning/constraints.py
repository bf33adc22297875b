"""Constraints on a layout, each a yes-or-no question about the array of treatment numbers."""

from collections.abc import Callable, Iterable
from typing import Final

import numpy as np

MOST_DRAWS: Final = 20_000


def not_same_position(layout: np.ndarray) -> bool:
    """No treatment stands in the same column in every row."""
    return len(layout) < 2 or not bool((layout == layout[0]).all(axis=0).any())


def not_beside_itself(layout: np.ndarray) -> bool:
    """No treatment touches itself, along a row or across the border of two rows."""
    return not bool((layout[1:] == layout[:-1]).any() or (layout[:, 1:] == layout[:, :-1]).any())


def spread(layout: np.ndarray) -> bool:
    """Each treatment is spread over the columns: no column holds it oftener than is needed."""
    rows, columns = layout.shape
    most = -(-rows // columns)
    counts = [np.bincount(column, minlength=layout.max() + 1).max() for column in layout.T]
    return max(counts) <= most


CHECKS: Final[dict[str, Callable[[np.ndarray], bool]]] = {
    "not_same_position": not_same_position,
    "not_beside_itself": not_beside_itself,
    "spread": spread,
}


def draw_until(draw: Callable[[], np.ndarray], constraints: Iterable[str]) -> np.ndarray | None:
    """Draw layouts until one keeps all constraints, so that all which do are equally likely.

    None if none of 20,000 draws does.
    """
    wanted = [CHECKS[name] for name in constraints]
    for _ in range(MOST_DRAWS):
        layout = draw()
        if all(holds(layout) for holds in wanted):
            return layout
    return None
