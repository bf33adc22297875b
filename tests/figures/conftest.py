"""Invented frames shaped as the other rooms hand them over."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.columns import CURVE, EFFECTS, GRADES, MEANS, PLOT_VALUES
from trialkit.study import Study, read_study

EXAMPLE = Path(__file__).parents[2] / "data_examples" / "eggplant_flea_beetle"
ORDER = ("check", "netting", "silver_mulch", "clover", "kaolin")


@pytest.fixture(scope="session")
def study() -> Study:
    return read_study(EXAMPLE)


def many_treatments(study: Study) -> Study:
    """The study with eight treatments of long names."""
    names = (
        "Untreated check (bare ground)",
        "Fine-mesh netting until the first flower opens",
        "Silver reflective plastic mulch",
        "White-clover living mulch between rows",
        "Kaolin clay film, sprayed weekly",
        "Straw mulch four inches deep",
        "Trap crop of mustard on two sides",
        "Vacuuming twice a week until bloom",
    )
    first = study.check
    others = [
        first.model_copy(update={"id": f"t{n}", "name": name, "short": "", "check": n == 0})
        for n, name in enumerate(names)
    ]
    return study.model_copy(update={"treatments": tuple(others)})


def plots_frame(treatments: tuple[str, ...] = ORDER, blocks: int = 4) -> pd.DataFrame:
    rng = np.random.default_rng(3)
    rows = []
    for block in range(1, blocks + 1):
        for column, treatment in enumerate(rng.permutation(treatments), 1):
            rows.append((f"{block}{column:02d}", block, treatment, block, column, 10, 6.0, ""))
    columns = ["plot", "block", "treatment", "row", "column", "plants", "area", "lost"]
    return pd.DataFrame(rows, columns=columns)


def curve_frame(plots: pd.DataFrame, visits: int = 14, year: int = 2025) -> pd.DataFrame:
    rng = np.random.default_rng(5)
    level = dict(zip(dict.fromkeys(plots["treatment"]), np.linspace(9, 3, 9), strict=False))
    level |= {"check": 9.0, "netting": 0.0, "silver_mulch": 5.5, "clover": 7.6, "kaolin": 5.2}
    rows = []
    for visit, date in enumerate(pd.date_range(f"{year}-05-20", periods=visits, freq="7D")):
        shape = np.exp(-(((visit - 4) / 3.0) ** 2)) + 0.08
        for plot in plots.itertuples():
            bare = plot.treatment == "netting" and visit > 6
            mean = (2.0 if bare else level[plot.treatment]) * shape
            count = rng.poisson(mean * 10) / 10
            rows.append((date, plot.plot, plot.block, plot.treatment, "flea_beetle", "adult", 10,
                         count))  # fmt: skip
    return pd.DataFrame(rows, columns=list(CURVE))


def events_frame(plots: pd.DataFrame, year: int = 2025) -> pd.DataFrame:
    rows = [(f"{year}-05-16", None, "transplanted", "")]
    for plot in plots.itertuples():
        late = 4 if plot.treatment == "netting" else 0
        rows.append((f"{year}-06-{24 + late}", plot.plot, "first_bloom", ""))
        rows.append((f"{year}-07-{3 + late:02d}", plot.plot, "half_bloom", ""))
        if plot.treatment == "netting":
            rows.append((f"{year}-05-16", plot.plot, "cover_on", ""))
            rows.append((f"{year}-06-28", plot.plot, "cover_off", ""))
        if plot.treatment == "clover":
            rows.append((f"{year}-05-02", plot.plot, "clover_sown", ""))
        if plot.treatment == "silver_mulch":
            rows.append((f"{year}-05-15", plot.plot, "mulch_laid", ""))
        if plot.treatment == "kaolin":
            for date in pd.date_range(f"{year}-05-19", periods=6, freq="7D"):
                rows.append((str(date.date()), plot.plot, "kaolin_sprayed", ""))
    frame = pd.DataFrame(rows, columns=["date", "plot", "event", "note"])
    return frame.assign(date=pd.to_datetime(frame["date"]))


def effects_frame(rows: list[tuple], **fixed: object) -> pd.DataFrame:
    """Rows of measure, treatment, effect, low, high, unit, margin, verdict, bound."""
    names = ["measure", "treatment", "effect", "effect_low", "effect_high", "effect_unit"]
    frame = pd.DataFrame(rows, columns=[*names, "margin", "verdict", "bound"])
    base = {"season": 2025, "site": "alder_bench", "versus": "check"} | fixed
    return frame.assign(**base).reindex(columns=list(EFFECTS))


BEETLES = [
    ("flea_beetle_days", "netting", -100.0, -100.0, -91.0, "percent", 30.0, "worthwhile", "upper"),
    ("flea_beetle_days", "silver_mulch", -42.0, -55.0, -24.0, "percent", 30.0, "some effect", ""),
    ("flea_beetle_days", "clover", -12.0, -34.0, 17.0, "percent", 30.0, "not settled", ""),
    ("flea_beetle_days", "kaolin", -4.0, -22.0, 18.0, "percent", 30.0,
     "no worthwhile difference", ""),
]  # fmt: skip
YIELDS = [
    ("marketable_yield", "netting", 31.0, 14.0, 51.0, "percent", 10.0, "worthwhile", ""),
    ("marketable_yield", "silver_mulch", 12.0, -3.0, 29.0, "percent", 10.0, "not settled", ""),
    ("marketable_yield", "clover", -21.0, -36.0, -4.0, "percent", 10.0, "some effect", ""),
    ("marketable_yield", "kaolin", 1.0, -7.5, 9.0, "percent", 10.0,
     "no worthwhile difference", ""),
]  # fmt: skip


@pytest.fixture
def plots() -> pd.DataFrame:
    return plots_frame()


@pytest.fixture
def curve(plots: pd.DataFrame) -> pd.DataFrame:
    return curve_frame(plots)


@pytest.fixture
def events(plots: pd.DataFrame) -> pd.DataFrame:
    return events_frame(plots)


@pytest.fixture
def beetle_effects() -> pd.DataFrame:
    return effects_frame(BEETLES)


@pytest.fixture
def two_measures() -> pd.DataFrame:
    return effects_frame(BEETLES + YIELDS)


def means_frame(treatments: tuple[str, ...] = ORDER) -> pd.DataFrame:
    middle = np.linspace(2.1, 3.0, len(treatments))
    frame = pd.DataFrame(
        {"treatment": treatments, "mean": middle, "low": middle - 0.35, "high": middle + 0.35}
    )
    base = {"season": 2025, "site": "alder_bench", "measure": "marketable_yield", "n": 4}
    return frame.assign(**base).reindex(columns=list(MEANS))


def grades_frame(plots: pd.DataFrame) -> pd.DataFrame:
    rng = np.random.default_rng(11)
    share = {"marketable": 60, "poor_pollination": 9, "blossom_end_rot": 4, "insect_feeding": 7,
             "sunscald": 2}  # fmt: skip
    rows = []
    for plot in plots.itertuples():
        for what, mean in share.items():
            fruit = int(rng.poisson(mean))
            grade = "marketable" if what == "marketable" else "cull"
            cause = "" if grade == "marketable" else what
            rows.append((plot.plot, plot.block, plot.treatment, grade, cause, fruit, fruit * 0.3))
    return pd.DataFrame(rows, columns=list(GRADES))


def values_frame(plots: pd.DataFrame, measure: str = "marketable_yield") -> pd.DataFrame:
    rng = np.random.default_rng(2)
    frame = plots[["plot", "block", "treatment"]].assign(
        season=2025, site="alder_bench", measure=measure, left_out="",
        value=rng.normal(2.5, 0.45, len(plots)),
    )  # fmt: skip
    return frame.reindex(columns=list(PLOT_VALUES))


def weather_frame(year: int = 2025, days: int = 140) -> pd.DataFrame:
    """Daily weather as the weather summary hands it over."""
    rng = np.random.default_rng(8)
    dates = pd.date_range(f"{year}-05-01", periods=days)
    heat = 22 + 6 * np.sin(np.arange(days) / 140 * np.pi) + rng.normal(0, 2.5, days)
    rain = np.where(rng.random(days) < 0.3, rng.gamma(1.2, 9, days), 0.0)
    frame = pd.DataFrame({"date": dates, "tmin": heat - 6, "tmax": heat + 6, "rain": rain})
    return frame.assign(rain_normal=3.1, in_bloom=dates.month == 7, wet=rain >= 1.0)


def bloom_frame(plots: pd.DataFrame, year: int = 2025) -> pd.DataFrame:
    """First and half bloom, one row per plot, as the measures hand it over."""
    late = plots["treatment"].map({"netting": 4, "clover": 2}).fillna(0)
    late = pd.to_timedelta(late, unit="D")
    return plots[["plot", "block", "treatment"]].assign(
        transplanted=pd.Timestamp(f"{year}-05-16"),
        first_bloom=pd.Timestamp(f"{year}-06-24") + late,
        half_bloom=pd.Timestamp(f"{year}-07-03") + late,
    )


CENTRES = {"netting": -62.0, "silver_mulch": -38.0, "clover": -10.0, "kaolin": -25.0}


def forest_frames(
    seasons: int = 3,
    sites: tuple[str, ...] = ("alder_bench", "brook_terrace", "cedar_flat"),
    treatments: tuple[str, ...] = ("netting",),
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Effects per site-season, and the pooled rows with their prediction intervals."""
    rng = np.random.default_rng(4)
    parts, together = [], []
    for treatment in treatments:
        middle = CENTRES[treatment]
        for season, site in [(2024 + n, site) for n in range(seasons) for site in sites]:
            effect, wide = float(rng.normal(middle, 10)), float(rng.uniform(9, 24))
            row = _beetles(treatment, effect, max(effect - wide, -99), effect + wide)
            parts.append(effects_frame([row], season=season, site=site))
        row = _beetles(treatment, middle, middle - 9, middle + 11)
        pooled = effects_frame([row], season=0, site="across")
        together.append(pooled.assign(prediction_low=middle - 25, prediction_high=middle + 30))
    return pd.concat(parts, ignore_index=True), pd.concat(together, ignore_index=True)


def _beetles(treatment: str, effect: float, low: float, high: float) -> tuple:
    beyond, aside = high < -30, low < 0 < high
    verdict = "worthwhile" if beyond else "not settled" if aside else "some effect"
    return ("flea_beetle_days", treatment, effect, low, high, "percent", 30.0, verdict, "")
