"""The first stage of many complete studies at once, for the speed of the calibration.

Every environment is fitted on its own whichever study it belongs to, so the environments of many
studies can be one call. What belongs to a study, the average of its clumping, is taken afterwards.
``test_calibration_across.py`` holds this to what ``fit_environments`` says of one study.
"""

from dataclasses import dataclass

import numpy as np

from trialkit.inference import dispersion, first_stage
from trialkit.inference.count_plan import Plan
from trialkit.inference.families import Family
from trialkit.inference.first_stage import FirstStage


@dataclass(frozen=True)
class Layout:
    """Complete studies of m environments: codes (n,) of each plot; trials, of each plot or 1."""

    environment: np.ndarray
    block: np.ndarray
    treatment: np.ndarray
    trials: float


def fit(family: Family, layout: Layout, responses: np.ndarray) -> tuple[np.ndarray, FirstStage]:
    """Return which studies (d,) are ordinary, and the first stage of those, one after another.

    The others need the usual, longer way. ``clumping`` of the first stage is (environments, 1),
    that of the study each environment belongs to.
    """
    ordinary = _informative(family, layout, responses)
    plan = _plan(family, layout, responses[ordinary])
    group = first_stage._groups(plan)[0]
    fitted = first_stage._penalised(family, group)
    found = dispersion.estimate(family, group.response, fitted, group.size, group.df)
    m = int(layout.environment.max()) + 1
    clumping = np.repeat(found.clumping.reshape(-1, m).mean(1), m)[:, None]
    return ordinary, FirstStage(family, plan.environments, (group,), (fitted,), 1.0, clumping)


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
