"""Faults planted into clean tables of a site-season, one function a kind; truth unknown to intake.

Each takes the tables and a random stream and returns changed tables, or None where the site-season
has no place for the fault. ``gross`` kinds are those that a person would want to be told of.
"""

from collections.abc import Callable

import numpy as np
import pandas as pd

Tables = dict[str, pd.DataFrame]
Plant = Callable[[Tables, np.random.Generator], Tables | None]


def _with(tables: Tables, table: str, frame: pd.DataFrame) -> Tables:
    return {**tables, table: frame}


def digits_doubled(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A count typed twice over: 12 becomes 1212, 7 becomes 77."""
    frame = tables["scouting"].copy()
    rows = frame.index[frame["count"] >= 6]
    if not len(rows):
        return None
    row = rng.choice(rows)
    text = str(int(frame.at[row, "count"]))
    frame.loc[row, "count"] = float(text + text)
    return _with(tables, "scouting", frame)


def count_100_fold(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A count with two zeros too many."""
    frame = tables["scouting"].copy()
    rows = frame.index[frame["count"] >= 2]
    if not len(rows):
        return None
    frame.loc[rng.choice(rows), "count"] *= 100
    return _with(tables, "scouting", frame)


def _weight(factor: float) -> Plant:
    def plant(tables: Tables, rng: np.random.Generator) -> Tables | None:
        frame = tables["harvest"].copy()
        rows = frame.index[(frame["weight"] > 0) & (frame["fruit"] > 0)]
        frame.loc[rng.choice(rows), "weight"] *= factor
        return _with(tables, "harvest", frame)

    return plant


def picking_in_other_unit(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """Every weight of a picking in kg where lb was meant."""
    frame = tables["harvest"].copy()
    day = rng.choice(frame["date"].unique())
    frame.loc[frame["date"] == day, "weight"] *= 2.2046
    return _with(tables, "harvest", frame)


def plots_swapped(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A check plot and a netting plot of one block changed over all season."""
    frame, plots = tables["scouting"].copy(), tables["plots"]
    block = plots[plots["block"] == rng.choice(plots["block"].unique())].set_index("treatment")
    if not {"check", "netting"} <= set(block.index):
        return None
    one, other = block.at["check", "plot"], block.at["netting", "plot"]
    frame["plot"] = frame["plot"].replace({one: other, other: one})
    return _with(tables, "scouting", frame)


def observer_high(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """One of two observers who share the plants of a visit counts 2.5 times too many."""
    frame = tables["scouting"].copy()
    mine = frame["observer"] == "B"
    frame.loc[mine, "count"] = (frame.loc[mine, "count"] * 2.5).round()
    return _with(tables, "scouting", frame)


def visit_month_off(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A whole visit dated a month early or late."""
    frame = tables["scouting"].copy()
    day = rng.choice(sorted(frame["date"].unique())[1:-1])
    meant = pd.Timestamp(day) + pd.DateOffset(months=int(rng.choice([-1, 1])))
    if meant in set(frame["date"]):
        return None
    frame.loc[frame["date"] == day, "date"] = meant
    return _with(tables, "scouting", frame)


def some_plots_month_off(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """Three plots of a visit dated a month early or late."""
    frame = tables["scouting"].copy()
    day = rng.choice(sorted(frame["date"].unique()))
    plots = rng.choice(frame["plot"].unique(), 3, replace=False)
    meant = pd.Timestamp(day) + pd.DateOffset(months=int(rng.choice([-1, 1])))
    if meant in set(frame["date"]):
        return None
    frame.loc[(frame["date"] == day) & frame["plot"].isin(plots), "date"] = meant
    return _with(tables, "scouting", frame)


def one_visit_zero(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A plot with at least three a plant before, at and after a visit has none at it."""
    frame = tables["scouting"].copy()
    mean = frame.pivot_table(index="date", columns="plot", values="count")
    full = (mean >= 3) & (mean.shift(1) >= 3) & (mean.shift(-1) >= 3)
    places = [(day, plot) for day in full.index for plot in full if full.at[day, plot]]
    if not places:
        return None
    day, plot = places[rng.integers(len(places))]
    frame.loc[(frame["date"] == day) & (frame["plot"] == plot), "count"] = 0.0
    return _with(tables, "scouting", frame)


def score_point_lost(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A score of at least 20 with its decimal point moved: 35 becomes 3.5."""
    frame = tables["ratings"].copy()
    days = sorted(frame["date"].unique())
    rows = frame.index[(frame["score"] >= 20) & frame["date"].isin(days[1:-1])]
    if not len(rows):
        return None
    frame.loc[rng.choice(rows), "score"] /= 10
    return _with(tables, "ratings", frame)


def day_in_other_unit(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """A highest temperature in degrees Celsius where Fahrenheit was meant."""
    frame = tables["weather"].copy()
    row = rng.choice(frame.index[frame["tmax"] > 15])
    frame.loc[row, "tmax"] = (frame.at[row, "tmax"] - 32) / 1.8
    return _with(tables, "weather", frame)


def harvest_never_ends(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """The last picking dated four to eight weeks later."""
    frame = tables["harvest"].copy()
    last = frame["date"] == frame["date"].max()
    frame.loc[last, "date"] += pd.Timedelta(days=int(rng.integers(28, 57)))
    return _with(tables, "harvest", frame)


def counts_rounded(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """Counts from 10 up rounded to the nearest 5; needs 20 of them."""
    frame = tables["scouting"].copy()
    high = frame["count"] >= 10
    if high.sum() < 20:
        return None
    frame.loc[high, "count"] = (frame.loc[high, "count"] / 5).round() * 5
    return _with(tables, "scouting", frame)


def check_without_insects(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """The check of the whole site counted as if it had been sprayed: one insect in fifty left."""
    frame = tables["scouting"].copy()
    plots = tables["plots"]
    mine = frame["plot"].isin(plots.loc[plots["treatment"] == "check", "plot"])
    frame.loc[mine, "count"] = rng.binomial(frame.loc[mine, "count"].astype(int), 0.02)
    return _with(tables, "scouting", frame)


def site_in_other_unit(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """Every weight of the site in kg where lb was meant, or the other way round."""
    frame = tables["harvest"].copy()
    frame["weight"] *= rng.choice([2.2046, 1 / 2.2046])
    return _with(tables, "harvest", frame)


def areas_in_other_unit(tables: Tables, rng: np.random.Generator) -> Tables | None:
    """Every plot area of the site in square metres where square feet were meant."""
    plots = tables["plots"].copy()
    plots["area"] /= 10.7639
    return _with(tables, "plots", plots)


# Kind: how it is planted, the codes that find it, whether it is gross.
KINDS: dict[str, tuple[Plant, tuple[str, ...], bool]] = {
    "count with two zeros too many": (count_100_fold, ("count_far_off",), True),
    "count typed twice over": (digits_doubled, ("count_far_off",), True),
    "one weight, decimal point (10)": (_weight(10), ("weight_off",), True),
    "one weight, oz for lb (16)": (_weight(16), ("weight_off",), True),
    "one weight, g for oz (28.35)": (_weight(28.35), ("weight_off",), True),
    "one weight, kg for lb (1/2.2046)": (_weight(1 / 2.2046), ("weight_off",), False),
    "picking in the other unit (2.2046)": (picking_in_other_unit, ("picking_unit",), True),
    "check and netting plot swapped": (plots_swapped, ("plots_swapped",), True),
    "observer counts 2.5 times": (observer_high, ("observer_differs",), True),
    "visit off by a month": (visit_month_off, ("month_off",), True),
    "three plots off by a month": (some_plots_month_off, ("month_off",), True),
    "one visit of a plot all zero": (one_visit_zero, ("zero_visit",), True),
    "score, decimal point": (score_point_lost, ("score_far_off",), False),
    "a day in °C for °F": (day_in_other_unit, ("temperature_off",), True),
    "last picking weeks late": (harvest_never_ends, ("late_picking",), True),
    "counts rounded to 5": (counts_rounded, ("digit_preference",), False),
    "a site's check without insects": (check_without_insects, ("check_differs",), True),
    "a site's weights in the other unit": (site_in_other_unit, ("check_differs",), True),
    "a site's areas in m² for ft²": (areas_in_other_unit, ("check_differs",), True),
}
