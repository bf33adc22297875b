"""The true contrasts that the example's data are a sample of, from very many simulated blocks.

    PYTHONPATH=. python tests/true_effects.py data_examples/eggplant_flea_beetle 40000

writes true_effects.csv beside the study. One row is one measure and treatment against the check:

* of a site-season: given its level, its faults (skipped visits, wet bloom, late cover, an end still
  to come) and each treatment's own deviation there, over blocks and plots;
* ``across``: with those deviations at zero, averaged over the site-seasons that have the measure.
  ``difference`` is the mean difference, ``ratio`` the geometric mean of the site-seasons' ratios
  (empty where a site-season's true ratio is zero), ``ratio_of_means`` the ratio of the mean means;
  ``odds_ratio`` is geometric as well.

Means are in the units that people of the study read: yields in lb/acre, the weight of a fruit in
lb, sizes and culls in percent.
``mc_se_percent`` is the Monte Carlo standard error of the ratio in percent of it. The days until a
threshold have no row: a plot that never passed it has no such day, so their mean depends on how
that is handled.
"""

import copy
import sys
from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.simulate import Draw, Truth, draw_site_season, last_day, read_truth
from trialkit.study import Study, read_study


def complete_visits(draw: Draw) -> np.ndarray:
    """Visits made in all blocks up to the last known date."""
    made = draw.visits <= last_day(draw.place)
    if draw.place.partial_visit:
        made[np.flatnonzero(made)[-1]] = False
    return made


def plot_values(draw: Draw) -> dict[str, tuple[np.ndarray, np.ndarray | float]]:
    """Numerator and denominator of every measure on every plot; the denominator is 1 for values."""
    made, picked = complete_visits(draw), draw.pickings <= last_day(draw.place)
    days, mean_count = draw.visits[made], draw.counts[:, made].mean(axis=2)
    values: dict[str, tuple[np.ndarray, np.ndarray | float]] = {
        "flea_beetle_days": (np.trapezoid(mean_count, days, axis=1), 1.0),
        "flea_beetle_peak": (mean_count.max(axis=1), 1.0),
        "leaf_damage": (np.trapezoid(draw.scores[:, made], days, axis=1), 1.0),
    }
    if (draw.half_bloom <= last_day(draw.place)).mean() > 0.99:
        values["days_to_first_bloom"] = (draw.first_bloom, 1.0)
        values["days_to_half_bloom"] = (draw.half_bloom, 1.0)
    if picked.any():
        values |= _harvest_values(draw, draw.fruit[:, picked], draw.weight[:, picked])
    return values


def _harvest_values(
    draw: Draw, fruit: np.ndarray, weight: np.ndarray
) -> dict[str, tuple[np.ndarray, np.ndarray | float]]:
    number, marketable = fruit.sum(axis=(1, 2)), weight[:, :, 0].sum(axis=1)
    acres = draw.place.area / 43560
    values = {
        "marketable_yield": (marketable / acres, 1.0),
        "early_yield": (weight[:, :3, 0].sum(axis=1) / acres, 1.0),
        "mean_fruit_weight": (marketable / fruit[:, :, 0].sum(axis=1), 1.0),
        "cull_percent": (fruit[:, :, 1:].sum(axis=(1, 2)), number),
        "cull_poor_pollination": (fruit[:, :, 1].sum(axis=1), number),
    }
    if draw.sizes.size:
        diameter = draw.sizes[..., 1]
        wanted = ((diameter >= 3.0) & (diameter <= 4.5)).sum(axis=(1, 2))
        values["size_share"] = (wanted, np.full(wanted.size, diameter[0].size))
    return values


def means(study: Study, truth: Truth, blocks: int, deviations: bool) -> pd.DataFrame:
    """Mean of every measure, treatment and site-season over many blocks.

    The truth's own seed gives each treatment the deviations that the committed data have.
    """
    rows = []
    for key in study.site_seasons():
        place = copy.copy(truth.places[key])
        place.blocks = blocks
        draw = draw_site_season(study, truth, place, truth.seed, deviations)
        for measure, (top, bottom) in plot_values(draw).items():
            for number, treatment in enumerate(study.treatment_ids):
                mine = draw.treatment == number
                share = np.ndim(bottom) > 0
                mean = 100 * top[mine].sum() / bottom[mine].sum() if share else top[mine].mean()
                cv = top[mine].std() / max(top[mine].mean(), 1e-12) / np.sqrt(mine.sum())
                rows.append((*key, measure, treatment, mean, cv, share))
    columns = ["season", "site", "measure", "treatment", "mean", "cv", "share"]
    return pd.DataFrame(rows, columns=columns)


def contrasts(table: pd.DataFrame, check: str) -> pd.DataFrame:
    """Every treatment against the check, per site-season."""
    key = ["season", "site", "measure"]
    base = table[table["treatment"] == check].drop(columns=["treatment", "share"])
    rest = table[table["treatment"] != check].merge(base, on=key, suffixes=("", "_check"))
    rest["difference"] = rest["mean"] - rest["mean_check"]
    rest["ratio"] = rest["mean"] / rest["mean_check"]
    odds = rest["mean"] / (100 - rest["mean"]) / (rest["mean_check"] / (100 - rest["mean_check"]))
    rest["odds_ratio"] = odds.where(rest["share"])
    rest["mc_se_percent"] = 100 * np.hypot(rest["cv"], rest["cv_check"])
    return rest.rename(columns={"mean_check": "check_mean"}).assign(versus=check)


def across(each: pd.DataFrame) -> pd.DataFrame:
    """Average of the site-seasons' contrasts."""
    with np.errstate(divide="ignore"):
        logs = each.assign(ratio=np.log(each["ratio"]), odds_ratio=np.log(each["odds_ratio"]))
    logs["mc_se_percent"] **= 2
    groups = logs.groupby(["measure", "treatment", "versus"], sort=False)
    columns = ["mean", "check_mean", "difference", "ratio", "odds_ratio", "mc_se_percent"]
    pooled = groups[columns].mean().reset_index()
    for name in ("ratio", "odds_ratio"):
        pooled[name] = np.exp(pooled[name]).where(np.isfinite(pooled[name]))
    pooled["mc_se_percent"] = np.sqrt(pooled["mc_se_percent"] / groups.size().to_numpy())
    return pooled.assign(
        season="", site="across", ratio_of_means=pooled["mean"] / pooled["check_mean"]
    )


def true_effects(folder: str | Path, blocks: int) -> pd.DataFrame:
    """The true contrast of every measure, site-season and treatment, and across."""
    study, truth = read_study(folder), read_truth(folder)
    each = contrasts(means(study, truth, blocks, True), study.check.id)
    pooled = across(contrasts(means(study, truth, blocks, False), study.check.id))
    columns = ["season", "site", "measure", "treatment", "versus", "check_mean", "mean"]
    columns += ["difference", "ratio", "ratio_of_means", "odds_ratio", "mc_se_percent"]
    each["ratio_of_means"] = each["ratio"]
    return pd.concat([each, pooled], ignore_index=True)[columns]


if __name__ == "__main__":
    table = true_effects(sys.argv[1], int(sys.argv[2]))
    table.to_csv(Path(sys.argv[1]) / "true_effects.csv", index=False, float_format="%.5g")
