"""The answer of one analysis: what was used, the model, means, contrasts, effect sizes, notes."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from trialkit.inference.design import Design
from trialkit.inference.estimates import TEST_COLUMNS, ModelResult
from trialkit.inference.further_means import FurtherMeans

MEAN_KEYS = ("treatment", "mean", "se", "df", "low", "high", "letters")
EFFECT_KEYS = ("name", "value", "low", "high")


@dataclass(frozen=True)
class Analysis:
    """What ``analyze`` returns; every number in full precision.

    design       : the checked data, with what was left out and why.
    model        : the fitted model.
    level        : coverage of the intervals, such as 0.95.
    adjust       : the family of comparisons: dunnett, tukey, holm or none.
    means        : frame of MEAN_KEYS and ``n``, on the response scale.
    contrasts    : frame of contrasts.CONTRAST_COLUMNS on the link scale, with ratios.
    effect_sizes : frame of ``name, kind, treatment, versus, value, low, high, note``.
    notes        : method and cautions in sentences a specialist can print.
    further      : of a split plot, tables of "whole_plot" levels and of every "cell".
    """

    design: Design
    model: ModelResult
    level: float
    adjust: str
    means: pd.DataFrame
    contrasts: pd.DataFrame
    effect_sizes: pd.DataFrame
    notes: tuple[str, ...]
    further: Mapping[str, FurtherMeans] = field(default_factory=dict)

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
