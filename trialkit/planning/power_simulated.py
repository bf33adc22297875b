"""Power for counts and culls by simulation: many trials drawn, each analysed as the report does.

One site-season is analysed by a generalised linear model of block and treatment with estimated
dispersion and a t reference. Over several site-seasons the log ratios (or log odds ratios) of all
treatments are laid out as treatments by site-seasons; their interaction mean square is the error,
on (treatments - 1)(site-seasons - 1) degrees of freedom.
"""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.planning.power import Design, TrialSize, residual_df

Family = Literal["count", "proportion"]
ROUNDS: Final = 25
CLOSE: Final = 1e-10  # on the log or logit scale


@dataclass(frozen=True)
class Response:
    """What is counted on a plot.

    ``count``: ``check`` is the check's mean count a plot, ``overdispersion`` its negative-binomial
    k (small k: clumped). ``proportion``: ``check`` is the check's share of ``trials`` fruit or
    plants, ``overdispersion`` the correlation within a plot (0: none). ``block_sd`` and
    ``environment_sd`` are on the log or logit scale, the latter of every treatment's own deviation
    in a site-season.
    """

    family: Family
    check: float
    overdispersion: float
    trials: int = 0
    block_sd: float = 0.0
    environment_sd: float = 0.0

    def __post_init__(self) -> None:
        low = self.overdispersion > 0 if self.family == "count" else 0 <= self.overdispersion < 1
        known = self.check > 0 if self.family == "count" else 0 < self.check < 1 and self.trials > 0
        if not (low and known):
            raise AnalysisError(
                "A simulated count needs a mean and a k above zero; a proportion needs a share "
                "between 0 and 1, trials, and a correlation from 0 to under 1. "
                "Mend layout.assumptions in study.toml."
            )


def simulated_power(
    response: Response,
    ratio: float,
    size: TrialSize,
    *,
    trials: int = 1000,
    seed: int = 1,
    alpha: float = 0.05,
) -> float:
    """Share of simulated trials in which one treatment differs from the check.

    ``ratio`` is that of the mean counts, or of the odds. The other treatments are like the check.
    """
    rng = np.random.default_rng(seed)
    logs, errors = [], []
    for _ in range(size.environments):
        log, error = _one_environment(response, ratio, size, trials, rng)
        logs.append(log)
        errors.append(error)
    statistic, df = _statistic(np.array(logs), np.array(errors), size)
    return float((np.abs(statistic) > stats.t.ppf(1 - alpha / 2, df)).mean())


def _statistic(logs: np.ndarray, errors: np.ndarray, size: TrialSize) -> tuple[np.ndarray, int]:
    """Statistic of the first treatment against the check; logs are (places, trials, treatments)."""
    places, treatments = size.environments, size.treatments
    if places == 1:
        return logs[0, :, 1] / errors[0, :, 1], residual_df(size)
    df = (treatments - 1) * (places - 1)
    rest = logs - logs.mean(axis=0) - logs.mean(axis=2, keepdims=True)
    rest += logs.mean(axis=(0, 2))[:, None]
    square = (rest**2).sum(axis=(0, 2)) / df
    return logs[:, :, 1].mean(axis=0) / np.sqrt(2 * square / places), df


def _one_environment(
    response: Response, ratio: float, size: TrialSize, trials: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    blocks, treatments = size.blocks, size.treatments
    shape = (trials, blocks, treatments)
    shift = rng.normal(0, response.environment_sd, (trials, 1, treatments))
    shift[:, 0, 1] += np.log(ratio)
    blocked = size.design != "completely_randomised"
    noise = rng.normal(0, response.block_sd if blocked else 0, (trials, blocks, 1)) + shift
    y, n = _draw(response, np.broadcast_to(noise, shape), rng)
    design = design_matrix(blocks, treatments, size.design)
    beta, se = fit_many(y.reshape(trials, -1), n, design, response.family)
    beta[:, 0], se[:, 0] = 0.0, 0.0  # the check against itself
    return beta[:, :treatments], se[:, :treatments]


def _draw(
    response: Response, noise: np.ndarray, rng: np.random.Generator
) -> tuple[np.ndarray, float]:
    if response.family == "count":
        k = response.overdispersion
        return rng.poisson(response.check * np.exp(noise) * rng.gamma(k, 1 / k, noise.shape)), 1.0
    share = 1 / (1 + (1 / response.check - 1) * np.exp(-noise))
    if response.overdispersion > 0:
        size = 1 / response.overdispersion - 1
        share = rng.beta(share * size, (1 - share) * size)
    return rng.binomial(response.trials, share), float(response.trials)


def design_matrix(blocks: int, treatments: int, design: Design = "complete_blocks") -> np.ndarray:
    """Intercept, treatments but the first, blocks but the first; blocks vary slowest.

    A completely randomised layout has no blocks; a Latin square has its rows for blocks and its
    columns besides, here those of the cyclic square.
    """
    block, treatment = (index.ravel() for index in np.indices((blocks, treatments)))
    columns = [np.ones(block.size)]
    columns += [treatment == number for number in range(1, treatments)]
    if design != "completely_randomised":
        columns += [block == number for number in range(1, blocks)]
    if design == "latin_square":
        column = (block + treatment) % treatments
        columns += [column == number for number in range(1, treatments)]
    return np.column_stack(columns).astype(float)


def fit_many(
    y: np.ndarray, trials: float, design: np.ndarray, family: Family
) -> tuple[np.ndarray, np.ndarray]:
    """Fit one generalised linear model a row of ``y``; coefficients and standard errors.

    Iteratively reweighted least squares, log link for counts and logit for proportions of
    ``trials``; the dispersion is Pearson's X² over residual degrees of freedom, at least 1/10 (a
    table of nearly equal counts must not claim certainty). Where a whole treatment is zero, half a
    count is added to every cell of that trial, so that its logarithm exists.
    """
    y = y.astype(float)
    y = np.where(_has_empty_column(y, design, trials, family)[:, None], y + 0.5, y)
    beta = np.zeros((len(y), design.shape[1]))
    top = trials + 1.0 if family == "proportion" else np.inf
    fitted = np.clip(y, 0.5, top - 0.5) if family == "count" else (y + 0.5) / (trials + 1)
    eta = np.log(fitted) if family == "count" else np.log(fitted / (1 - fitted))
    for _ in range(ROUNDS):
        mean, weight = _mean_and_weight(eta, trials, family)
        working = eta + (y - mean) / weight
        score = (weight * working) @ design
        new = np.linalg.solve(_information(weight, design), score[..., None])[..., 0]
        moved, beta = np.abs(new - beta).max(), new
        eta = np.clip(beta @ design.T, -30, 30)
        if moved < CLOSE:
            break
    mean, weight = _mean_and_weight(eta, trials, family)
    df = design.shape[0] - design.shape[1]
    dispersion = np.maximum(((y - mean) ** 2 / weight).sum(axis=1) / df, 0.1)
    variance = np.linalg.inv(_information(weight, design)).diagonal(axis1=1, axis2=2)
    return beta, np.sqrt(dispersion[:, None] * variance)


def _information(weight: np.ndarray, design: np.ndarray) -> np.ndarray:
    """X' W X of every trial; the products of columns are made once for all of them."""
    size = design.shape[1]
    products = (design[:, :, None] * design[:, None, :]).reshape(len(design), -1)
    return (weight @ products).reshape(-1, size, size)


def _has_empty_column(
    y: np.ndarray, design: np.ndarray, trials: float, family: Family
) -> np.ndarray:
    """Trials in which a treatment or block has only zeros (or, of a proportion, only ones)."""
    reference = 1 - design[:, 1:].max(axis=1, keepdims=True)
    groups = np.hstack([design[:, 1:], reference])
    empty = (y @ groups == 0).any(axis=1)
    if family == "proportion":
        empty |= ((trials - y) @ groups == 0).any(axis=1)
    return np.asarray(empty)


def _mean_and_weight(
    eta: np.ndarray, trials: float, family: Family
) -> tuple[np.ndarray, np.ndarray]:
    if family == "count":
        mean = np.exp(eta)
        return mean, np.maximum(mean, 1e-10)
    share = 1 / (1 + np.exp(-eta))
    return trials * share, np.maximum(trials * share * (1 - share), 1e-10)
