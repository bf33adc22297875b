"""A small study of money with numbers that can be checked by hand."""

import numpy as np
import pandas as pd

from trialkit.inference.estimates import MarginalMeans
from trialkit.study import Economics, Study

COSTS = pd.DataFrame(
    [
        ("netting", "mesh", 45000.0, "ft2", 0.045, 2.0),
        ("netting", "labour", 36.0, "hour", 18.0, 1.0),
        ("silver_mulch", "film", 8700.0, "ft", 0.055, np.nan),
        ("clover", "seed", 12.0, "lb", 6.5, 1.0),
        ("kaolin", "clay", 150.0, "lb", 1.1, 1.0),
    ],
    columns=["treatment", "item", "quantity", "unit", "price", "lasts_seasons"],
)


def with_economics(study: Study, **changes: object) -> Study:
    """The study on plain terms: 1 a unit of weight, no handling, no loss to the field."""
    plain = {"prices": {"marketable": 1.0}, "runs": 20_000} | changes
    return study.model_copy(update={"economics": Economics(**plain)})


def means_of(
    values: list[float], sd: float, df: float = np.inf, names: tuple[str, ...] = ("check", "net")
) -> MarginalMeans:
    """Independent means with one standard error."""
    k = len(values)
    return MarginalMeans(
        names, np.array(values), np.eye(k) * sd**2, np.full(k, df), np.full((k, k), df),
        "identity", np.full(k, 4),
    )  # fmt: skip
