"""Tables of means beside those of the treatments: whole-plot levels and cells of a split plot."""

from dataclasses import dataclass, replace

import pandas as pd

from trialkit.inference.contrasts import contrast_table, letters_of, means_table, pairs_of
from trialkit.inference.design import Design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.multivariate_t import Pair

LABEL = {"treatment": "level"}


@dataclass(frozen=True)
class FurtherMeans:
    """Means and their comparisons; a level takes the place of ``treatment`` in the columns.

    means     : level, mean, se, df, low, high, letters, n.
    contrasts : as those of treatments, of ``level`` minus ``versus``.
    method    : how the comparisons were adjusted, in words.
    """

    means: pd.DataFrame
    contrasts: pd.DataFrame
    method: str


def further_tables(design: Design, model: ModelResult, level: float) -> dict[str, FurtherMeans]:
    """Return the tables of every further kind of means that ``model`` has, or none.

    Whole-plot levels are compared all with all (Tukey); cells with those of the same whole-plot
    level or of the same treatment (Holm).
    """
    found = {}
    for kind, means in model.further.items():
        part = replace(model, means=means, bounds={}, further={})
        every = pairs_of(means, None)
        pairs = every if kind == "whole_plot" else _sharing(every, len(design.treatments))
        table = contrast_table(part, pairs, "tukey" if kind == "whole_plot" else "holm", level)
        letters = [""] * len(means.treatments)
        if kind == "whole_plot":
            letters = letters_of(part, table.frame["p_adjusted"].to_numpy(), "tukey", level)
        shown = means_table(part, level, letters).rename(columns=LABEL)
        found[kind] = FurtherMeans(shown, table.frame.rename(columns=LABEL), table.method)
    return found


def _sharing(pairs: tuple[Pair, ...], treatments: int) -> tuple[Pair, ...]:
    """Return the pairs of cells on one whole-plot level or of one treatment."""
    return tuple(
        (i, j) for i, j in pairs if i // treatments == j // treatments or (i - j) % treatments == 0
    )
