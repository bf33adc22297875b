"""Plot values with a known answer."""

import numpy as np
import pandas as pd
import pytest

from trialkit.columns import PLOT_VALUES

TREATMENTS = ("check", "netting", "silver_mulch", "clover", "kaolin")


def values_of(measure, means, *, season=2024, site="alder_bench", noise=0.05, blocks=4, seed=1):
    """Plot values of one measure: block effects, small noise, the treatment means given."""
    random = np.random.default_rng(seed)
    rows = [
        {
            "season": season,
            "site": site,
            "plot": str(100 * (block + 1) + place),
            "block": str(block + 1),
            "treatment": treatment,
            "measure": measure,
            "value": mean * (1 + noise * random.standard_normal()) + 0.02 * block * mean,
            "left_out": "",
        }
        for block in range(blocks)
        for place, (treatment, mean) in enumerate(zip(TREATMENTS, means, strict=True))
    ]
    return pd.DataFrame(rows, columns=list(PLOT_VALUES))


@pytest.fixture
def make_values():
    return values_of


@pytest.fixture
def yields():
    return values_of("marketable_yield", (2.0, 3.0, 2.02, 1.4, 2.1))
