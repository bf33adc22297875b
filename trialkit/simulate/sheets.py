"""The tables of a site-season as people type them."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pandas as pd

from trialkit.simulate.draw import Draw, draw_site_season
from trialkit.simulate.trial import stream
from trialkit.simulate.truth import Truth
from trialkit.study import Study

Tables = dict[str, pd.DataFrame]


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
    tables["weather"] = _weather(study, place, stream(seed, place, "weather"))
    return {name: table for name, table in tables.items() if len(table)}


def _dates(draw: Draw, days: Any) -> np.ndarray:
    days = np.asarray(days).astype("timedelta64[D]")
    return np.datetime_as_string(np.datetime64(draw.place.transplanted) + days)


def last_day(place: SimpleNamespace) -> int:
    """Return the last day of which anything is known, counted from transplanting."""
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
    past = days <= last_day(draw.place)
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
    known = sorted(row for row in rows if row[0] <= last_day(place))
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
