"""The published example of letters for twenty treatments: which pairs share a letter."""

from pathlib import Path

import numpy as np
import pandas as pd

from trialkit.inference.letters import letters

FOLDER = Path(__file__).parent / "piepho_2004"


def test_piepho_wheat_yields():
    expected = pd.read_csv(FOLDER / "expected.csv").set_index("quantity")["value"]
    pairs = pd.read_csv(FOLDER / "data.csv").to_numpy() - 1
    differ = np.zeros((int(expected["treatments"]), int(expected["treatments"])), dtype=bool)
    differ[pairs[:, 0], pairs[:, 1]] = differ[pairs[:, 1], pairs[:, 0]] = True
    found = letters(differ)
    assert len(set("".join(found))) == expected["letters"]
    assert sum(map(len, found)) == expected["assignments"]
    shared = np.array([[bool(set(a) & set(b)) for b in found] for a in found])
    np.testing.assert_array_equal(shared, ~differ)
