"""Known-truth data: an invented study drawn from the effects that its truth.toml states.

``python -m trialkit.simulate FOLDER`` reads FOLDER/study.toml and FOLDER/truth.toml and writes
FOLDER/data/ and FOLDER/costs.csv, the same bytes at every run.

The model, for a plot of treatment t, with E(t) the deviation of t in this site-season alone:

* beetles on one plant at a visit: negative binomial (k) with mean pressure x curve(day) x ratio(t)
  x exp(E(t) + block + plot); while a cover is on its own ratio holds;
* score: 100 (1 - exp(-rate x insect-days so far on the plot)) + error;
* fruit of a picking: Poisson, mean plants x fruit x level x yield(t) / fruit_weight(t) x share
  x exp(E(t) - variance/2 + block + plot); the shares of a plot's whole season add up to one and
  rise about 22 days after its first bloom, so bloom moves the early yield and not the total;
* a fruit is marketable, or culled for one cause with odds(cause) x odds ratio(t).

All in the units that people of the study type.
"""

import sys
import tomllib
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any, Final

import numpy as np
import pandas as pd

from trialkit.study import Study, read_study

Tables = dict[str, pd.DataFrame]
DAYS_TO_FRUIT: Final = 22


@dataclass(frozen=True)
class Truth:
    """What truth.toml states; its comments give meaning, unit and default of every key."""

    seed: int
    beetles: Mapping[str, Any]
    leaf_holes: Mapping[str, float]
    fruit: Mapping[str, float]
    bloom: Mapping[str, float]
    culls: Mapping[str, Any]
    treatments: Mapping[str, SimpleNamespace]
    places: Mapping[tuple[int, str], SimpleNamespace]
    costs: pd.DataFrame


def read_truth(folder: str | Path) -> Truth:
    """Read ``folder/truth.toml``; raises ValueError on a key that has no default there."""
    raw = tomllib.loads((Path(folder) / "truth.toml").read_text(encoding="utf-8"))
    place = raw.pop("every_site_season") | {"season": 0, "site": ""}
    treatment, costs = raw.pop("every_treatment"), raw.pop("costs")
    places = [_filled(place, entry) for entry in raw.pop("site_seasons")]
    return Truth(
        treatments={k: _filled(treatment, entry) for k, entry in raw.pop("treatments").items()},
        places={(item.season, item.site): item for item in places},
        costs=pd.DataFrame(costs["rows"], columns=costs["columns"]),
        **raw,
    )


def _filled(defaults: Mapping[str, Any], entry: Mapping[str, Any]) -> SimpleNamespace:
    if unknown := entry.keys() - defaults.keys():
        raise ValueError(f"truth.toml: unknown {', '.join(sorted(unknown))}")
    return SimpleNamespace(**{**defaults, **entry})


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


def simulate_site_season(
    study: Study, season: int, site: str, truth: Truth, seed: int | None = None
) -> Tables:
    """Return the tables of one site-season as people would type them; none without rows.

    The same seed (default: the truth's own) gives the same tables.
    """
    place = truth.places[season, site]
    seed = truth.seed if seed is None else seed
    draw = draw_site_season(study, truth, place, seed)
    tables = {"plots": _plots(study, draw), **_observations(study, draw)}
    tables["events"] = _events(study, truth, draw)
    tables["weather"] = _weather(study, place, _stream(seed, place, "weather"))
    return {name: table for name, table in tables.items() if len(table)}


def draw_site_season(
    study: Study, truth: Truth, place: SimpleNamespace, seed: int, deviations: bool = True
) -> Draw:
    """Draw every count, score, bloom date and picking of one site-season.

    ``deviations=False`` sets E(t), the treatments' own deviations in this site-season, to zero.
    """
    trial = _trial(study, truth, place, seed, deviations)
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


@dataclass(frozen=True)
class _Trial:
    """A laid-out trial: what grows where, and what each treatment does here."""

    truth: Truth
    place: SimpleNamespace
    causes: tuple[str, ...]
    effects: tuple[SimpleNamespace, ...]
    own: Mapping[str, np.ndarray]  # E(t) of beetles, fruit and culls: (treatments, ...)
    treatment: np.ndarray
    block: np.ndarray
    rng: np.random.Generator

    def each(self, name: str) -> np.ndarray:
        return np.array([getattr(effect, name) for effect in self.effects])

    def spread(self, about: Mapping[str, Any]) -> np.ndarray:
        blocks = self.rng.normal(0, about["block_sd"], self.block.max() + 1)
        return blocks[self.block] + self.rng.normal(0, about["plot_sd"], self.block.size)


def _stream(seed: int, place: SimpleNamespace, name: str) -> np.random.Generator:
    """A stream of its own for each site-season and purpose, so that one never shifts another."""
    key = zlib.crc32(f"{place.season} {place.site} {name}".encode())
    return np.random.default_rng([seed, key])


def _trial(
    study: Study, truth: Truth, place: SimpleNamespace, seed: int, deviations: bool
) -> _Trial:
    effects = tuple(truth.treatments[name] for name in study.treatment_ids)
    causes = tuple(cause.id for cause in study.cull_causes)
    rng = _stream(seed, place, "environment")
    sd = np.array([effect.yield_sd for effect in effects])
    own = {
        "beetles": rng.normal(0, [effect.beetles_sd for effect in effects]),
        "fruit": rng.normal(-(sd**2) / 2, sd),  # exp() of it has mean one
        "culls": rng.normal(0, truth.culls["environment_sd"], (len(effects), len(causes))),
    }
    own["culls"][0] = 0.0  # the check is the reference of every odds ratio
    own = own if deviations else {name: 0 * values for name, values in own.items()}
    rng = _stream(seed, place, "plots")
    order = rng.permuted(np.tile(np.arange(len(effects)), (place.blocks, 1)), axis=1)
    block = np.repeat(np.arange(place.blocks), len(effects))
    return _Trial(truth, place, causes, effects, own, order.ravel(), block, rng)


def _bloom(trial: _Trial) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Days to first and half bloom of each plot, and the day on which its cover came off."""
    mean, about = trial.place.bloom + trial.each("bloom"), trial.truth.bloom
    first = np.rint(mean[trial.treatment] + trial.spread(about))
    half = first + np.rint(trial.rng.normal(about["half_after"], 1.0, first.size))
    off = np.where(np.isnan(trial.each("under_cover")), -1, np.rint(mean) + trial.place.cover_late)
    return first.astype(int), half.astype(int), off[trial.treatment].astype(int)


def _beetles(trial: _Trial, visits: np.ndarray, cover_off: np.ndarray) -> np.ndarray:
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


def _scores(trial: _Trial, insect_days: np.ndarray) -> np.ndarray:
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


def _pick(trial: _Trial, plants: np.ndarray, shares: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
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


def _chances(trial: _Trial) -> np.ndarray:
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


def _sizes(trial: _Trial) -> np.ndarray:
    about, plots = trial.truth.fruit, trial.block.size * trial.place.fruit_sizes
    centre, sd = [about["length"], about["diameter"]], [about["length_sd"], about["diameter_sd"]]
    size = trial.rng.normal(centre, sd, (plots, 3, int(about["sized_per_plot"]), 2))
    larger = np.cbrt(trial.each("fruit_weight"))[trial.treatment[:plots]]
    return np.round(np.maximum(size * larger[:, None, None, None], 1.0), 1)


def _dates(draw: Draw, days: Any) -> np.ndarray:
    days = np.asarray(days).astype("timedelta64[D]")
    return np.datetime_as_string(np.datetime64(draw.place.transplanted) + days)


def _last_day(place: SimpleNamespace) -> int:
    return int((place.until - place.transplanted).days)


def _plot_names(draw: Draw) -> np.ndarray:
    """Block, then place within the block: 203 is the third plot of block 2."""
    position = np.arange(draw.block.size) % np.count_nonzero(draw.block == 0)
    return (100 * draw.block + position + 101).astype(str)


def _lost(draw: Draw) -> np.ndarray:
    """Flooded plots: the first ones of the last block, its low corner."""
    low = np.flatnonzero(draw.block == draw.block.max())[: draw.place.flooded]
    return np.isin(np.arange(draw.block.size), low)


def _known(draw: Draw, days: np.ndarray) -> np.ndarray:
    """Whether a plot can have a value on a day (plots, days): neither lost nor yet to come."""
    past = days <= _last_day(draw.place)
    known = past & ~(_lost(draw)[:, None] & (days >= draw.place.flood_day))
    if draw.place.partial_visit and days is draw.visits:
        known[draw.block > 1, np.flatnonzero(past)[-1]] = False
    return known


def _plots(study: Study, draw: Draw) -> pd.DataFrame:
    plot, lost = _plot_names(draw), np.where(_lost(draw), "flooded", "")
    frame = pd.DataFrame({"plot": plot, "block": draw.block + 1})
    frame["treatment"] = np.array(study.treatment_ids)[draw.treatment]
    frame = frame.assign(row=draw.block + 1, column=plot.astype(int) % 100)
    return frame.assign(plants=draw.plants, area=draw.place.area, lost=lost)


def _observations(study: Study, draw: Draw) -> Tables:
    visits, pickings, beetle = draw.visits, draw.pickings, study.organisms[0]
    visited, picked = _known(draw, visits), _known(draw, pickings)
    note = np.where(visits == 26, "windy", "")
    plant, observer = np.arange(1, draw.counts.shape[2] + 1), np.where(visits // 7 % 3, "A", "B")
    counted = {"plant": plant, "organism": beetle.id, "stage": beetle.stages[0]}
    counted |= {"count": draw.counts, "observer": observer[:, None], "note": note[:, None]}
    scored = {"what": study.ratings[0].id, "score": draw.scores, "observer": observer}
    causes = np.array(["", *[cause.id for cause in study.cull_causes]])
    graded = {"grade": np.where(causes == "", "marketable", "cull"), "cull_cause": causes}
    graded |= {"fruit": draw.fruit, "weight": draw.weight}
    # A cull cause without fruit has no row; a plot without marketable fruit is a true zero.
    some = picked[:, :, None] & ((draw.fruit > 0) | (causes == ""))
    tables = {
        "scouting": _long(draw, visits, visited[:, :, None], counted),
        "ratings": _long(draw, visits, visited, scored),
        "harvest": _long(draw, pickings, some, graded),
    }
    if draw.sizes.size:
        measured = {"fruit": np.arange(1, draw.sizes.shape[2] + 1)}
        measured |= {"length": draw.sizes[..., 0], "diameter": draw.sizes[..., 1]}
        days, known = pickings[1:4], picked[:, 1:4, None]
        tables["fruit_sizes"] = _long(draw, days, known, measured)
    return tables


def _long(draw: Draw, days: Any, known: np.ndarray, columns: dict[str, Any]) -> pd.DataFrame:
    """One row where ``known`` (plots, days, ...) is true, in order of date and plot."""
    shape = np.broadcast_shapes(known.shape, *map(np.shape, columns.values()))
    at = np.nonzero(np.broadcast_to(known, shape))
    frame = pd.DataFrame({"date": _dates(draw, days)[at[1]], "plot": _plot_names(draw)[at[0]]})
    frame = frame.assign(**{name: np.broadcast_to(v, shape)[at] for name, v in columns.items()})
    return frame.sort_values("date", kind="stable", ignore_index=True)


def _events(study: Study, truth: Truth, draw: Draw) -> pd.DataFrame:
    place, weekly, rows = draw.place, range(2, draw.place.bloom, 7), [(0, "", "transplanted")]
    of = np.array(study.treatment_ids)[draw.treatment]
    happened = (of, draw.first_bloom, draw.half_bloom, draw.cover_off)
    for plot, treatment, first, half, off in zip(_plot_names(draw), *happened, strict=True):
        effect = truth.treatments[treatment]
        rows += [(first, plot, "first_bloom"), (half, plot, "half_bloom")]
        rows += [(0, plot, "cover_on"), (off, plot, "cover_off")] if off >= 0 else []
        rows += [(day, plot, event) for event, day in effect.once.items()]
        rows += [(day, plot, effect.weekly) for day in weekly if effect.weekly]
    lost = _plot_names(draw)[_lost(draw)]
    rows = [row for row in rows if not (row[1] in lost and row[0] >= place.flood_day)]
    rows += [(place.flood_day, plot, "flooded") for plot in lost]
    known = sorted(row for row in rows if row[0] <= _last_day(place))
    day, plot, event = zip(*known, strict=True)
    return pd.DataFrame({"date": _dates(draw, day), "plot": plot, "event": event, "note": ""})


def _weather(study: Study, place: SimpleNamespace, rng: np.random.Generator) -> pd.DataFrame:
    """Invented weather: a seasonal curve with noise, and rain about the site's normal in inches."""
    season = study.season(place.season)
    days = pd.date_range(season.first_date, season.last_date)
    after = (days - pd.Timestamp(place.transplanted)).days.to_numpy() - place.bloom
    soaked = place.wet_bloom & (after >= -1) & (after <= 12)
    usual = study.site(place.site).normal_rain
    normal = np.array([usual.get(month, 3.5) for month in days.month])
    wet = rng.random(days.size) < np.where(soaked, 0.85, 0.32)
    rain = np.round(wet * rng.exponential(normal / 30.4 / 0.32), 2)
    mean = 72 + place.warmth - 0.0022 * (days.day_of_year.to_numpy() - 201.0) ** 2 - 3 * wet
    mean, half = rng.normal(mean, 3.5), rng.normal(np.where(wet, 7, 11), 1.5)
    low, high = (np.rint(mean + sign * half).astype(int) for sign in (-1, 1))
    weather = {"date": days.strftime("%Y-%m-%d"), "tmin": low, "tmax": high, "rain": rain}
    return pd.DataFrame(weather)[days.date <= place.until]


def write_study(folder: str | Path) -> None:
    """Write data/SEASON/SITE/ and costs.csv of the study and truth that stand in ``folder``."""
    study, truth = read_study(folder), read_truth(folder)
    truth.costs.to_csv(study.folder / "costs.csv", index=False, lineterminator="\n")
    for season, site in study.site_seasons():
        study.data_folder(season, site).mkdir(parents=True, exist_ok=True)
        write = _write_workbook if truth.places[season, site].workbook else _write_csv
        write(study.data_folder(season, site), simulate_site_season(study, season, site, truth))


def _write_csv(folder: Path, tables: Tables) -> None:
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")


def _write_workbook(folder: Path, tables: Tables) -> None:
    path = folder / f"{folder.name}_{folder.parent.name}.xlsx"
    with pd.ExcelWriter(path, engine="xlsxwriter") as book:
        book.book.set_properties({"created": pd.Timestamp(2024, 1, 1)})  # same bytes at every run
        for name, table in tables.items():
            if "date" in table:
                table = table.assign(date=pd.to_datetime(table["date"]).dt.date)
            table.to_excel(book, sheet_name=name, index=False)


if __name__ == "__main__":
    write_study(sys.argv[1])
