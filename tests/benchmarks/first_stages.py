"""The first stage of many complete studies at once, for the speed of the calibration.

Every environment is fitted on its own whichever study it belongs to, so the environments of many
studies can be one call. What belongs to a study, the average of its clumping, is taken afterwards.
``test_calibration_across.py`` holds this to what ``fit_environments`` says of one study.
"""

from dataclasses import dataclass, replace

import numpy as np

from trialkit.inference import dispersion, first_stage
from trialkit.inference.count_plan import Plan
from trialkit.inference.families import Family
from trialkit.inference.first_stage import FirstStage
from trialkit.inference.glm import GlmFit

PLOTS = ("response", "size", "block")
PARTS = ("coefficients", "mean", "weight", "inverse", "converged")


@dataclass(frozen=True)
class Layout:
    """Complete studies of m environments: codes (n,) of each plot; trials, of each plot or 1."""

    environment: np.ndarray
    block: np.ndarray
    treatment: np.ndarray
    trials: float


def fit(family: Family, layout: Layout, responses: np.ndarray) -> list[FirstStage | None]:
    """Return the first stage of each study (d, n); None where it needs the usual, longer way."""
    ordinary = _informative(family, layout, responses)
    stages: list[FirstStage | None] = [None] * len(responses)
    if not ordinary.any():
        return stages
    group = first_stage._groups(_plan(family, layout, responses[ordinary]))[0]
    fitted = first_stage._penalised(family, group)
    found = dispersion.estimate(family, group.response, fitted, group.size, group.df)
    m = int(layout.environment.max()) + 1
    for i, place in enumerate(np.flatnonzero(ordinary)):
        own = slice(i * m, (i + 1) * m)
        part = {name: getattr(group, name)[own] for name in PLOTS}
        one = replace(group, places=np.arange(m), **part)
        fits = GlmFit(**{name: getattr(fitted, name)[own] for name in PARTS}, steps=fitted.steps)
        names = tuple(str(e) for e in range(m))
        clumping = float(found.clumping[own].mean())
        stages[place] = FirstStage(family, names, (one,), (fits,), 1.0, clumping)
    return stages


def _informative(family: Family, layout: Layout, responses: np.ndarray) -> np.ndarray:
    """Return which studies (d,) have no treatment, and no environment, at one extreme."""
    top = layout.trials if family.name == "binomial" else np.inf
    fine = np.ones(len(responses), dtype=bool)
    for codes in (layout.treatment, layout.environment):
        some, short = _by((responses > 0), codes), _by((responses < top), codes)
        fine &= ((some > 0) & (short > 0)).all(1)
    return fine


def _by(values: np.ndarray, codes: np.ndarray) -> np.ndarray:
    return values.astype(float) @ np.eye(int(codes.max()) + 1)[codes]


def _plan(family: Family, layout: Layout, responses: np.ndarray) -> Plan:
    d, n = responses.shape
    m = int(layout.environment.max()) + 1
    return Plan(
        family=family,
        environments=tuple(str(e) for e in range(d * m)),
        treatments=tuple(str(t) for t in range(int(layout.treatment.max()) + 1)),
        environment=(layout.environment + m * np.arange(d)[:, None]).ravel(),
        treatment=np.tile(layout.treatment, d),
        block=np.tile(layout.block, d),
        response=responses.ravel(),
        size=np.full(d * n, layout.trials),
        extreme={},
        empty=(),
        cells=(),
    )
