"""A small invented study and its tables, written by hand, for the tests of the measures."""

from collections.abc import Callable
from typing import Any

import pandas as pd
import pytest

from trialkit.study import Study

TREATMENTS = ("check", "cover", "mulch")
BLOCKS = (1, 2)


@pytest.fixture
def study() -> Callable[..., Study]:
    """Make a study with the given measures (and other parts replaced by name)."""

    def make(*measures: dict[str, Any], **parts: Any) -> Study:
        named = [{"id": m["kind"], "name": m["kind"], "margin": 10, **m} for m in measures]
        base = {
            "name": "made_up",
            "title": "Made up",
            "crop": "squash",
            "units": "si",
            "treatments": [{"id": t, "name": t, "check": t == "check"} for t in TREATMENTS],
            "sites": [{"id": "north", "name": "North Field"}],
            "seasons": [{"year": 2025, "first_date": "2025-05-01", "last_date": "2025-09-30"}],
            "organisms": [{"id": "beetle", "name": "beetles", "stages": ["adult", "larva"]}],
            "cull_causes": [{"id": "rot", "name": "rot"}, {"id": "sun", "name": "sunscald"}],
            "ratings": [{"id": "holes", "name": "leaf holes", "scale": "percent"}],
            "measures": named
            or [{"id": "any", "name": "any", "kind": "marketable_yield", "margin": 1}],
        }
        return Study.model_validate({**base, **parts})

    return make


@pytest.fixture
def running() -> list[dict[str, Any]]:
    """Seasons of a study whose only season is not finished."""
    ends = {"first_date": "2025-05-01", "last_date": "2025-09-30"}
    return [{"year": 2025, "finished": False, **ends}]


@pytest.fixture
def plots() -> pd.DataFrame:
    """Two blocks of three plots: c1 v1 m1 c2 v2 m2 (check, cover, mulch)."""
    letters = {"check": "c", "cover": "v", "mulch": "m"}
    rows = [
        {"plot": f"{letters[t]}{b}", "block": b, "treatment": t, "plants": 10, "area": 5.0}
        for b in BLOCKS
        for t in TREATMENTS
    ]
    return pd.DataFrame(rows).assign(row=1, column=range(1, 7), lost=None)


@pytest.fixture
def scouting() -> Callable[..., pd.DataFrame]:
    """Make a scouting table from {plot: {date: counts on plants 1, 2, ...}}."""

    def make(
        counts: dict[str, dict[str, list[float]]], organism: str = "beetle", stage: str = "adult"
    ) -> pd.DataFrame:
        rows = [
            {"date": date, "plot": plot, "plant": plant, "count": count}
            for plot, dates in counts.items()
            for date, on_plants in dates.items()
            for plant, count in enumerate(on_plants, 1)
        ]
        table = pd.DataFrame(rows).assign(organism=organism, stage=stage)
        return table.assign(date=pd.to_datetime(table["date"]))

    return make


@pytest.fixture
def table() -> Callable[..., pd.DataFrame]:
    """Make a table from a header and rows; the first column named date becomes dates."""

    def make(header: str, *rows: tuple[Any, ...]) -> pd.DataFrame:
        made = pd.DataFrame(list(rows), columns=header.split())
        return made.assign(date=pd.to_datetime(made["date"]))

    return make


@pytest.fixture
def measured() -> Callable[..., pd.DataFrame]:
    """Measure one site-season of a study with a single measure; one row per plot, by plot."""
    from trialkit.measures import plot_values

    def measure(study: Study, **tables: pd.DataFrame) -> pd.DataFrame:
        return plot_values(study, 2025, "north", tables).set_index("plot")

    return measure
