"""Plots with a count or a number of events each, as arrays."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.inference import families
from trialkit.inference.design import Design
from trialkit.inference.treatment_model import Layout, is_extreme


@dataclass(frozen=True)
class PlotCounts:
    """The n plots of one trial.

    response, size (n,): count and exposure, or events and trials. whole: whether the response is
    in whole numbers. names: blocking factors in the model.
    """

    family: families.Family
    layout: Layout
    treatments: tuple[str, ...]
    names: tuple[str, ...]
    response: np.ndarray
    size: np.ndarray
    rows: pd.Index

    @property
    def is_share(self) -> bool:
        """Whether the response is out of a number of trials."""
        return isinstance(self.family, families.Binomial)

    @property
    def top(self) -> np.ndarray | None:
        """The largest response possible (n,), where there is one."""
        return self.size if self.is_share else None

    @property
    def whole(self) -> bool:
        """Whether the response is in whole numbers; insect-days are not."""
        return bool((self.response == np.round(self.response)).all())

    def plots_of(self, treatment: int) -> np.ndarray:
        """Return which plots (n,) carry a treatment."""
        return self.layout.treatment == treatment

    def extreme(self, treatment: int) -> int:
        """Return -1 for a treatment without any event, 1 for one with nothing else, 0 else."""
        inside = self.plots_of(treatment)
        if not self.response[inside].any():
            return -1
        top = None if self.top is None else self.top[inside]
        return int(is_extreme(self.response[inside], top))


def read(design: Design, family: families.Family) -> PlotCounts:
    """Take the arrays out of a Design."""
    frame = design.frame
    names = ("block",) if "block" in frame else ()
    blocks = tuple(frame[name].cat.codes.to_numpy().astype(int) for name in names)
    return PlotCounts(
        family=family,
        layout=Layout(frame["treatment"].cat.codes.to_numpy().astype(int), blocks),
        treatments=design.treatments,
        names=names,
        response=frame["response"].to_numpy(dtype=float),
        size=_size(frame, isinstance(family, families.Binomial)),
        rows=frame.index,
    )


def _size(frame: pd.DataFrame, share: bool) -> np.ndarray:
    if share:
        return frame["trials"].to_numpy(dtype=float)
    if "exposure" in frame:
        return frame["exposure"].to_numpy(dtype=float)
    return np.ones(len(frame))
