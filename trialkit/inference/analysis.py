"""The answer of one analysis: what was used, the model, means, contrasts, effect sizes, notes."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import pandas as pd

from trialkit.inference import checks, effect_sizes, multiplicity
from trialkit.inference.contrasts import (
    ContrastTable,
    adjusted_p,
    contrast_table,
    letters_of,
    means_table,
    pairs_of,
)
from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, ModelResult
from trialkit.inference.further_means import FurtherMeans, further_tables
from trialkit.inference.multivariate_t import Pair

MEAN_KEYS = ("treatment", "mean", "se", "df", "low", "high", "letters")
EFFECT_KEYS = ("name", "value", "low", "high")


@dataclass(frozen=True)
class Analysis:
    """What ``analyze`` returns; every number in full precision.

    The model is fitted; each table is worked out when it is first read, as most readers of a fit
    want few of them.

    design       : the checked data, with what was left out and why.
    model        : the fitted model.
    level        : coverage of the intervals, such as 0.95.
    adjust       : the family of comparisons: dunnett, tukey, holm or none.
    cautions     : sentences of whoever knows more than the data, added to the notes.
    """

    design: Design
    model: ModelResult
    level: float
    adjust: str
    cautions: tuple[str, ...] = ()

    @cached_property
    def means(self) -> pd.DataFrame:
        """Frame of MEAN_KEYS and ``n``, on the response scale."""
        letters = letters_of(self.model, self._p_of_every_pair, self.adjust, self.level)
        return means_table(self.model, self.level, letters)

    @property
    def contrasts(self) -> pd.DataFrame:
        """Frame of contrasts.CONTRAST_COLUMNS on the link scale, with ratios."""
        return self._reported.frame

    @cached_property
    def effect_sizes(self) -> pd.DataFrame:
        """Frame of ``name, kind, treatment, versus, value, low, high, note``."""
        return effect_sizes.effect_size_table(self.model, self._pairs, self.level)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """Method and cautions in sentences a specialist can print."""
        checked = checks.in_words(self.design, self.model)
        return (*self.model.notes, *self._comparison_notes(), *checked, *self.cautions)

    @cached_property
    def further(self) -> dict[str, FurtherMeans]:
        """Of a split plot, tables of ``whole_plot`` levels and of every ``cell``."""
        return further_tables(self.design, self.model, self.level)

    @property
    def _pairs(self) -> tuple[Pair, ...]:
        return pairs_of(self.model.means, self.design.control)

    @property
    def _is_of_every_pair(self) -> bool:
        """Whether what is reported is adjusted for all pairs, even where only some are reported."""
        if self.adjust in ("dunnett", "tukey"):
            return self.adjust == "tukey"
        return set(self._pairs) == set(pairs_of(self.model.means, None))

    @cached_property
    def _every_pair(self) -> ContrastTable:
        every = pairs_of(self.model.means, None)
        return contrast_table(self.model, every, self.adjust, self.level)

    @property
    def _p_of_every_pair(self) -> np.ndarray:
        """Adjusted p values of all pairs, for letters; their intervals only where reported."""
        if self._is_of_every_pair:
            return self._every_pair.frame["p_adjusted"].to_numpy()
        how = "tukey" if self.adjust == "dunnett" else self.adjust
        return adjusted_p(self.model, pairs_of(self.model.means, None), how, self.level)

    @cached_property
    def _reported(self) -> ContrastTable:
        if not self._is_of_every_pair:
            return contrast_table(self.model, self._pairs, self.adjust, self.level)
        every, whole = pairs_of(self.model.means, None), self._every_pair
        place = [every.index(pair) for pair in self._pairs]
        return ContrastTable(whole.frame.iloc[place].reset_index(drop=True), whole.method)

    def _comparison_notes(self) -> list[str]:
        notes = [
            f"Comparisons: {self._reported.method}; intervals at {100 * self.level:g} %.",
        ]
        if self.adjust == "none":
            notes.append(multiplicity.LSD_CAUTION)
        if self.adjust == "dunnett":
            notes.append(
                "Letters compare all pairs with each other (Tukey), so they can be more cautious "
                "than the comparisons with the check."
            )
        return notes

    def to_dict(self) -> dict[str, Any]:
        """Return plain lists, numbers and text fit for JSON; what is unknown is None.

        A split plot has ``further`` as well: means and contrasts of whole-plot levels and cells.
        """
        dropped = [{"row": plain(d.row), "reason": d.reason} for d in self.design.dropped]
        rows, used = self.design.rows, len(self.design.frame)
        return {
            "data": {"rows": rows, "used": used, "dropped": dropped},
            "model": {
                "family": self.model.family,
                "method": self.model.method,
                "terms": list(self.model.terms),
                "notes": list(self.notes),
            },
            "tests": records(self.model.tests[list(TEST_COLUMNS)]),
            "variance_components": {k: plain(v) for k, v in self.model.components.items()},
            "means": records(self.means[list(MEAN_KEYS)]),
            "contrasts": records(self.contrasts),
            "effect_sizes": records(self.effect_sizes[list(EFFECT_KEYS)]),
        } | ({"further": self._further()} if self.further else {})

    def _further(self) -> dict[str, Any]:
        return {
            kind: {"means": records(one.means), "contrasts": records(one.contrasts)}
            for kind, one in self.further.items()
        }


def records(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the rows of a frame as dicts of plain values."""
    return [
        {str(name): plain(value) for name, value in row.items()}
        for row in frame.to_dict(orient="records")
    ]


def plain(value: object) -> Any:
    """Return a value that JSON can hold: NaN, infinities and empty become None.

    >>> plain(np.float64(2.5)), plain(float("nan")), plain(np.int64(3)), plain(("a", 1))
    (2.5, None, 3, "('a', 1)")
    """
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, int | np.integer):
        return int(value)
    if isinstance(value, float | np.floating):
        return float(value) if np.isfinite(value) else None
    return value if value is None or isinstance(value, str) else str(value)
