"""Where each treatment goes: random layouts as arrays of treatment numbers, rows by columns.

A row of the array is a row of plots in the field. In complete blocks and split plots a row is a
block; in a Latin square rows and columns are both blocked.
"""

from collections.abc import Sequence

import numpy as np

from trialkit.planning.latin import latin_square


def completely_randomised(treatments: int, replicates: int, rng: np.random.Generator) -> np.ndarray:
    """Every arrangement of all plots is equally likely; (replicates, treatments)."""
    plots = np.tile(np.arange(treatments), replicates)
    return rng.permutation(plots).reshape(replicates, treatments)


def complete_blocks(treatments: int, blocks: int, rng: np.random.Generator) -> np.ndarray:
    """Each row is a block with every treatment once, in an order of its own."""
    return rng.permuted(np.tile(np.arange(treatments), (blocks, 1)), axis=1)


def latin(treatments: int, rng: np.random.Generator) -> np.ndarray:
    """Each treatment once in every row and column."""
    return latin_square(treatments, rng)


def split_plot(
    whole_plots: Sequence[Sequence[int]], blocks: int, rng: np.random.Generator
) -> np.ndarray:
    """Each row is a block; the treatments of a whole plot stay side by side.

    ``whole_plots`` has the treatment numbers of each level of the whole-plot factor. Levels are
    put in random order within a block, and treatments in random order within a level.
    """
    rows = []
    for _ in range(blocks):
        order = rng.permutation(len(whole_plots))
        rows.append(np.concatenate([rng.permutation(np.asarray(whole_plots[i])) for i in order]))
    return np.array(rows)
