"""Which counts or shares are pooled over environments, and what is set aside as saying nothing."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from trialkit.errors import AnalysisError
from trialkit.inference.design import Design
from trialkit.inference.families import Binomial, Family, Poisson


@dataclass(frozen=True)
class Plan:
    """The plots pooled, as arrays, and what was set aside.

    environments, treatments : labels pooled, in reporting order; the arrays hold their codes.
    environment, treatment, block, response, size : (n,) each; size is the exposure of a count (1
    where none is given) or the trials of a share.
    extreme : treatment -> -1 where it has no event in any environment, 1 where it has nothing else.
    empty   : environments with no event, or nothing else, on any pooled treatment.
    cells   : (environment, treatment) without event, or with nothing else: only a bound there.
    """

    family: Family
    environments: tuple[str, ...]
    treatments: tuple[str, ...]
    environment: np.ndarray
    treatment: np.ndarray
    block: np.ndarray
    response: np.ndarray
    size: np.ndarray
    extreme: dict[str, int]
    empty: tuple[str, ...]
    cells: tuple[tuple[str, str], ...]


def plan_pooling(design: Design) -> Plan:
    """Set aside treatments, then environments, that say nothing of any ratio.

    Raises AnalysisError where fewer than two environments are left.
    """
    frame = design.frame
    environment, treatment = (_codes(frame, name) for name in ("environment", "treatment"))
    response, size = frame["response"].to_numpy(dtype=float), sizes(frame)
    top = size if design.family == "proportion" else np.full(len(frame), np.inf)
    names = [str(e) for e in frame["environment"].cat.categories]
    side = _sides(treatment, response, top, len(design.treatments))
    used = side[treatment] == 0
    alike = _sides(environment[used], response[used], top[used], len(names))
    alike[np.bincount(environment[used], minlength=len(names)) == 0] = -1
    _check_enough(design, alike)
    used &= alike[environment] == 0
    kept, pooled = np.flatnonzero(alike == 0), np.flatnonzero(side == 0)
    place, code = _renumber(kept, len(names)), _renumber(pooled, len(side))
    cell = place[environment[used]] * len(pooled) + code[treatment[used]]
    labels = tuple(names[e] for e in kept)
    bound = _sides(cell, response[used], top[used], len(kept) * len(pooled))
    return Plan(
        family=_family(design),
        environments=labels,
        treatments=tuple(design.treatments[t] for t in pooled),
        environment=place[environment[used]],
        treatment=code[treatment[used]],
        block=block_codes(frame)[used],
        response=response[used],
        size=size[used],
        extreme={design.treatments[t]: int(side[t]) for t in np.flatnonzero(side)},
        empty=tuple(name for name in names if name not in labels),
        cells=tuple(
            (labels[c // len(pooled)], design.treatments[pooled[c % len(pooled)]])
            for c in np.flatnonzero(bound)
        ),
    )


def _family(design: Design) -> Family:
    return Binomial() if design.family == "proportion" else Poisson()


def sizes(frame: pd.DataFrame) -> np.ndarray:
    """Return the exposure or trials of each row, (n,); 1 where the design has neither."""
    column = next((frame[c] for c in ("trials", "exposure") if c in frame), None)
    return np.ones(len(frame)) if column is None else column.to_numpy(dtype=float)


def block_codes(frame: pd.DataFrame) -> np.ndarray:
    """Return the block of each row as a code, (n,); 0 where the design has no blocks."""
    return _codes(frame, "block")


def _codes(frame: pd.DataFrame, name: str) -> np.ndarray:
    if name not in frame:
        return np.zeros(len(frame), dtype=np.int64)
    return frame[name].cat.codes.to_numpy().astype(np.int64)


def _sides(codes: np.ndarray, response: np.ndarray, top: np.ndarray, levels: int) -> np.ndarray:
    """Return per level -1 where all its plots are without event, 1 with nothing else, 0 else."""
    some = np.bincount(codes, response > 0, levels) > 0
    short = np.bincount(codes, response < top, levels) > 0
    present = np.bincount(codes, minlength=levels) > 0
    return np.where(present & ~some, -1, np.where(present & ~short, 1, 0))


def _check_enough(design: Design, alike: np.ndarray) -> None:
    left = int((alike == 0).sum())
    if left < 2:
        raise AnalysisError(
            f"Column '{design.names['response']}' says something of the treatments in "
            f"{'one environment only' if left else 'no environment'}: elsewhere all plots are "
            "without events, or hold nothing else. Nothing can be pooled; report the environments "
            "one at a time."
        )


def _renumber(kept: np.ndarray, levels: int) -> np.ndarray:
    code = np.full(levels, -1)
    code[kept] = np.arange(len(kept))
    return code
