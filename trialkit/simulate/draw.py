"""What happened on every plot: beetles, scores, bloom and fruit, drawn from the truth."""

from dataclasses import dataclass
from types import SimpleNamespace
from typing import Final

import numpy as np

from trialkit.simulate.trial import Trial, lay_out
from trialkit.simulate.truth import Truth
from trialkit.study import Study

DAYS_TO_FRUIT: Final = 22


@dataclass(frozen=True)
class Draw:
    """What happened on every plot: arrays with plots first, then days, then plants or grades.

    Days count from transplanting. Lost plots and days after the last known date are still in.
    """

    place: SimpleNamespace
    treatment: np.ndarray  # (plots,) position in study.treatment_ids
    block: np.ndarray  # (plots,) from 0
    plants: np.ndarray  # (plots,), as the next three
    first_bloom: np.ndarray
    half_bloom: np.ndarray
    cover_off: np.ndarray  # -1 where there is no cover
    visits: np.ndarray  # (visits,)
    counts: np.ndarray  # (plots, visits, plants scouted)
    scores: np.ndarray  # (plots, visits)
    pickings: np.ndarray  # (pickings,)
    fruit: np.ndarray  # (plots, pickings, 1 + causes), marketable first
    weight: np.ndarray  # the same
    sizes: np.ndarray  # (plots, 3 pickings, fruit, [length, diameter]), or no plots


def draw_site_season(
    study: Study, truth: Truth, place: SimpleNamespace, seed: int, deviations: bool = True
) -> Draw:
    """Draw every count, score, bloom date and picking of one site-season.

    ``deviations=False`` sets E(t), the treatments' own deviations in this site-season, to zero.
    """
    trial = lay_out(study, truth, place, seed, deviations)
    first, half, cover_off = _bloom(trial)
    visits, pickings = np.setdiff1d(place.visits, place.skipped), _picking_days(place)
    counts = _beetles(trial, visits, cover_off)
    scores = _scores(trial, _days_so_far(counts.mean(axis=2), visits))
    plants = place.plants - trial.rng.binomial(2, 0.1, trial.block.size)
    picked = _pick(trial, plants, _shares(pickings, first))
    return Draw(
        place, trial.treatment, trial.block, plants, first, half, cover_off,
        visits, counts, scores, pickings, *picked, _sizes(trial),
    )  # fmt: skip


def _bloom(trial: Trial) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days to first and half bloom of each plot, and the day on which its cover came off."""
    mean, about = trial.place.bloom + trial.each("bloom"), trial.truth.bloom
    first = np.rint(mean[trial.treatment] + trial.spread(about))
    half = first + np.rint(trial.rng.normal(about["half_after"], 1.0, first.size))
    off = np.where(np.isnan(trial.each("under_cover")), -1, np.rint(mean) + trial.place.cover_late)
    return first.astype(int), half.astype(int), off[trial.treatment].astype(int)


def _beetles(trial: Trial, visits: np.ndarray, cover_off: np.ndarray) -> np.ndarray:
    """Counts (plots, visits, plants): gamma-Poisson around the mean of the plot at the visit."""
    about, place, of = trial.truth.beetles, trial.place, trial.treatment
    waves = [(w["height"], (visits - w["peak"]) / w["width"]) for w in about["waves"]]
    curve = sum(height * np.exp(-(distance**2) / 2) for height, distance in waves)
    stated = np.isnan(place.under_cover)
    covered = trial.each("under_cover")[of] if stated else np.full(of.size, place.under_cover)
    on = visits < cover_off[:, None]
    ratio = np.where(on, covered[:, None], trial.each("beetles")[of][:, None])
    level = place.pressure * np.exp(trial.own["beetles"][of] + trial.spread(about))
    mean, k = curve * ratio * level[:, None], about["overdispersion_k"]
    gamma = trial.rng.gamma(k, 1 / k, (*mean.shape, about["plants_scouted"]))
    return trial.rng.poisson(mean[:, :, None] * gamma)


def _days_so_far(mean_count: np.ndarray, visits: np.ndarray) -> np.ndarray:
    """Insect-days a plant from the first visit up to each visit (trapezoids)."""
    steps = np.diff(visits) * (mean_count[:, 1:] + mean_count[:, :-1]) / 2
    return np.pad(np.cumsum(steps, axis=1), ((0, 0), (1, 0)))


def _scores(trial: Trial, insect_days: np.ndarray) -> np.ndarray:
    about = trial.truth.leaf_holes
    score = -100 * np.expm1(-about["rate"] * insect_days)
    return np.clip(np.rint(trial.rng.normal(score, about["error_sd"])), 0, 100).astype(int)


def _picking_days(place: SimpleNamespace) -> np.ndarray:
    first, last = place.pickings
    days = first + np.cumsum([0, *np.resize(place.picking_gaps, last - first)])
    return days[days <= last]


def _shares(days: np.ndarray, first_bloom: np.ndarray) -> np.ndarray:
    """Share of a plot's whole season that falls on each picking (rows add up to one)."""
    ready = days - first_bloom[:, None] - DAYS_TO_FRUIT
    gaps = np.diff(days, prepend=2 * days[0] - days[1])
    shape = gaps * np.exp(-ready / 40) / (1 + np.exp(-ready / 4))
    return shape / shape.sum(axis=1, keepdims=True)


def _pick(trial: Trial, plants: np.ndarray, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Number and weight of fruit (plots, pickings, 1 + causes)."""
    about, rng, of = trial.truth.fruit, trial.rng, trial.treatment
    heavier = trial.each("fruit_weight")[of]
    more = trial.each("yield")[of] / heavier
    level = trial.place.level * np.exp(trial.own["fruit"][of] + trial.spread(about))
    number = rng.poisson((plants * about["fruit"] * more * level)[:, None] * shares)
    fruit = rng.multinomial(number, _chances(trial)[:, None, :])
    error = rng.normal(0, about["weight_sd"] / np.sqrt(np.maximum(fruit, 1)))
    each = about["weight"] * np.array([1.0, *[about["cull_weight"]] * len(trial.causes)])
    weight = fruit * each * heavier[:, None, None] * np.maximum(1 + error, 0.3)
    return fruit, np.round(weight, 2)


def _chances(trial: Trial) -> np.ndarray:
    """Chance of each grade (plots, 1 + causes): marketable first, then the causes as listed."""
    about, place, causes = trial.truth.culls, trial.place, trial.causes
    ratios = [[effect.culls.get(cause, 1.0) for cause in causes] for effect in trial.effects]
    odds = np.exp(trial.own["culls"]) * ratios * [about["odds"][cause] for cause in causes]
    pollination = np.array([cause == "poor_pollination" for cause in causes])
    if place.wet_bloom:
        odds[:, pollination] *= about["wet_bloom_poor_pollination"]
    if place.cover_late >= 7:
        late = ~np.isnan(trial.each("under_cover"))[:, None] & pollination
        odds[late] *= about["late_cover_poor_pollination"]
    of_plots = np.exp(trial.rng.normal(np.log(odds)[trial.treatment], about["plot_sd"]))
    whole = np.hstack([np.ones((len(of_plots), 1)), of_plots])
    return whole / whole.sum(axis=1, keepdims=True)


def _sizes(trial: Trial) -> np.ndarray:
    about, plots = trial.truth.fruit, trial.block.size * trial.place.fruit_sizes
    centre, sd = [about["length"], about["diameter"]], [about["length_sd"], about["diameter_sd"]]
    size = trial.rng.normal(centre, sd, (plots, 3, int(about["sized_per_plot"]), 2))
    larger = np.cbrt(trial.each("fruit_weight"))[trial.treatment[:plots]]
    return np.round(np.maximum(size * larger[:, None, None, None], 1.0), 1)
