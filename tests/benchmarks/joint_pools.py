"""The joint pooling of many complete studies at once, for the speed of the calibration.

The same steps as ``pool_jointly``, with one row a study: every environment of every study is in one
group, whose first stage is that of ``first_stages``. ``test_calibration_across.py`` holds this to
what ``pool_jointly`` says of one study.
"""

from dataclasses import dataclass

import numpy as np

from trialkit.inference.first_stage import FirstStage
from trialkit.inference.heterogeneity import GRID, Evidence
from trialkit.inference.joint_pooling import WEIGHT_ROUNDS, JointFit, _centred, _least_factor

HALVINGS = 50
Solved = dict[str, np.ndarray]


@dataclass(frozen=True)
class Turned:
    """Estimates of d studies, uncorrelated at every tau² (see ``Evidence``).

    y, spread (d, n); x (d, n, p); log_det (d,) of the covariances; scale (d,), a likely tau².
    """

    y: np.ndarray
    x: np.ndarray
    spread: np.ndarray
    log_det: np.ndarray
    scale: np.ndarray

    @property
    def df(self) -> int:
        """Estimates less parameters of one study."""
        return self.x.shape[1] - self.x.shape[2]

    def of(self, rows: np.ndarray) -> "Turned":
        """Return the studies ``rows``, which may come more than once."""
        names = ("y", "x", "spread", "log_det", "scale")
        return Turned(**{name: getattr(self, name)[rows] for name in names})

    def solve(self, tau2: np.ndarray) -> Solved:
        """Return the weighted fits at ``tau2`` (d,), as ``Evidence.profile``."""
        w = 1 / (1 + tau2[:, None] * self.spread)
        x, transposed = self.x, self.x.swapaxes(1, 2)
        phi = np.linalg.inv((transposed * w[:, None]) @ x)
        beta = (phi @ (transposed @ (w * self.y)[..., None]))[..., 0]
        square = (self.y - (x @ beta[..., None])[..., 0]) ** 2
        steep = w**2 * self.spread
        inner = (transposed * steep[:, None]) @ x
        trace = (w * self.spread).sum(1) - (phi * inner).sum((1, 2))
        q = (w * square).sum(1)
        log_det = self.log_det - np.log(w).sum(1) - np.linalg.slogdet(phi)[1]
        score = ((steep * square).sum(1) - trace) / 2
        return {"beta": beta, "phi": phi, "q": q, "excess": trace, "score": score,
                "loglik": -(log_det + q) / 2}  # fmt: skip


def pool(stage: FirstStage, m: int) -> list[JointFit]:
    """Return the joint fit of each study: ``stage`` holds m environments of one after another.

    Its ``clumping`` is (environments, 1), that of the study each belongs to.
    """
    (group,), (fit,) = stage.groups, stage.fits
    k, d = len(group.treatments), len(group.places) // m
    effects = np.zeros((d, k))
    for _ in range(WEIGHT_ROUNDS):
        variance, levels = _covariances(stage, np.repeat(effects, m, axis=0))
        turned = _turned(fit.coefficients[:, :k], variance, d)
        start = turned.solve(np.zeros(d))
        first = np.maximum(0.0, (start["q"] - turned.df) / start["excess"])
        effects = turned.solve(first)["beta"] @ _centred(k).T
    tau2 = _restricted_maximum(turned)
    found = turned.solve(tau2) | {"tau2": tau2, "q0": start["q"]}
    shaped = variance.reshape(d, m, k, k), fit.coefficients[:, :k].reshape(d, m, k)
    levels = levels.reshape(d, m)
    return [_joint(i, found, levels[i], (shaped[0][i], shaped[1][i]), turned.df) for i in range(d)]


def _joint(
    i: int, found: Solved, levels: np.ndarray, table: tuple[np.ndarray, np.ndarray], df: int
) -> JointFit:
    variance, coefficients = table
    m, k = coefficients.shape
    least, spread = _least_factor(k, df), _centred(k)
    factor = max(float(found["q"][i]) / df, least)
    contrast = np.column_stack([-np.ones(k - 1), np.eye(k - 1)])
    shape = (m, k - 1, k - 1)
    evidence = Evidence(((
        coefficients @ contrast.T,
        contrast @ variance @ contrast.T,
        np.broadcast_to(np.eye(k - 1), shape),
        np.broadcast_to(contrast @ contrast.T / 2, shape),
    ),))  # fmt: skip
    return JointFit(
        effects=spread @ found["beta"][i],
        covariance=factor * spread @ found["phi"][i] @ spread.T,
        levels=levels,
        tau2=float(found["tau2"][i]),
        factor=factor,
        df=df,
        q=float(found["q0"][i]),
        variances=(variance,),
        evidence=evidence,
        held=factor == least,
    )


def _covariances(stage: FirstStage, effects: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (environments, k, k) covariances and the levels, as ``FirstStage.covariances``."""
    (group,), (fit,) = stage.groups, stage.fits
    k = len(group.treatments)
    shape = fit.coefficients[:, k:] @ group.matrix[:, k:].T + effects[:, group.codes]
    level = stage._level(group, fit, shape)
    return stage._covariance(group, shape + level[:, None])[:, :k, :k], level


def _turned(coefficients: np.ndarray, variance: np.ndarray, d: int) -> Turned:
    k = coefficients.shape[1]
    contrast = np.column_stack([-np.ones(k - 1), np.eye(k - 1)])
    s, y = contrast @ variance @ contrast.T, coefficients @ contrast.T
    root = np.linalg.cholesky(s)
    back = np.linalg.inv(root)
    spread, turn = np.linalg.eigh(back @ (contrast @ contrast.T / 2) @ back.swapaxes(1, 2))
    x = turn.swapaxes(1, 2) @ back
    z = (x @ y[..., None])[..., 0]
    log_det = 2 * np.log(np.einsum("mii->mi", root)).sum(1)
    within = np.trace(s, axis1=1, axis2=2).reshape(d, -1).mean(1) / (k - 1)
    return Turned(
        y=z.reshape(d, -1),
        x=x.reshape(d, -1, k - 1),
        spread=spread.reshape(d, -1),
        log_det=log_det.reshape(d, -1).sum(1),
        scale=y.reshape(d, -1).var(1) + within,
    )


def _restricted_maximum(turned: Turned) -> np.ndarray:
    """Return the best of the local maxima of each restricted likelihood, the boundary included."""
    d, g = len(turned.scale), len(GRID)
    grid = turned.scale[:, None] * GRID
    score = turned.of(np.repeat(np.arange(d), g)).solve(grid.ravel())["score"].reshape(d, g)
    rows, steps = np.nonzero((score[:, :-1] > 0) & (score[:, 1:] <= 0))
    low, high = grid[rows, steps], grid[rows, steps + 1]
    inside = turned.of(rows)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        rising = inside.solve(middle)["score"] > 0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    tau2, best = np.zeros(d), turned.solve(np.zeros(d))["loglik"]
    for row, top, height in zip(rows, high, inside.solve(high)["loglik"], strict=True):
        if height > best[row]:
            tau2[row], best[row] = top, height
    return tau2
