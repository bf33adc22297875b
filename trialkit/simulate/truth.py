"""The truth that an invented study is drawn from, as its truth.toml states it."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pandas as pd


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
    mistakes: tuple[SimpleNamespace, ...] = ()


def read_truth(folder: str | Path) -> Truth:
    """Read ``folder/truth.toml``; raises ValueError on a key that has no default there."""
    raw = tomllib.loads((Path(folder) / "truth.toml").read_text(encoding="utf-8"))
    place = raw.pop("every_site_season") | {"season": 0, "site": ""}
    treatment, costs = raw.pop("every_treatment"), raw.pop("costs")
    places = [_filled(place, entry) for entry in raw.pop("site_seasons")]
    mistakes = tuple(SimpleNamespace(**entry) for entry in raw.pop("mistakes", ()))
    return Truth(
        treatments={k: _filled(treatment, entry) for k, entry in raw.pop("treatments").items()},
        places={(item.season, item.site): item for item in places},
        costs=pd.DataFrame(costs["rows"], columns=costs["columns"]),
        mistakes=mistakes,
        **raw,
    )


def _filled(defaults: Mapping[str, Any], entry: Mapping[str, Any]) -> SimpleNamespace:
    if unknown := entry.keys() - defaults.keys():
        raise ValueError(f"truth.toml: unknown {', '.join(sorted(unknown))}")
    return SimpleNamespace(**{**defaults, **entry})
