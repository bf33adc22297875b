"""Reading published examples: their data, and expected values with their printed precision."""

from pathlib import Path

import pandas as pd

HERE = Path(__file__).parent


def data(name: str) -> pd.DataFrame:
    return pd.read_csv(HERE / name / "data.csv")


def assert_agree(name: str, found: dict[str, float]) -> None:
    """Every expected value of the example is found, within half its last printed digit."""
    expected = pd.read_csv(HERE / name / "expected.csv").set_index("quantity")
    assert set(found) == set(expected.index)
    for quantity, value, decimals in expected[["value", "decimals"]].itertuples():
        assert abs(found[quantity] - value) <= 0.5 * 10.0**-decimals, (quantity, found[quantity])
