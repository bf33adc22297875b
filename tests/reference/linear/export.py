"""Write the invented cases that make.R analyses: python tests/reference/linear/export.py"""

from pathlib import Path

import numpy as np
import pandas as pd

COLUMNS = ["case", "block", "row", "column", "whole_plot", "treatment", "y"]
TREATMENTS = "ABCDE"


def main() -> None:
    rng = np.random.default_rng(20240611)
    effect = dict(zip(TREATMENTS, [0.0, 1.2, 2.0, -0.6, 3.1], strict=True))
    rows = [("crd", "", "", "", "", t, 10 + effect[t] + rng.normal())
            for n, t in enumerate(TREATMENTS) for _ in range(3 + n % 3)]  # fmt: skip
    blocks = [("rcbd", b, "", "", "", t, 10 + effect[t] + 0.8 * b + rng.normal())
              for b in range(1, 5) for t in TREATMENTS]  # fmt: skip
    lost = [("rcbd_lost", *row[1:]) for n, row in enumerate(blocks) if n not in (3, 10)]
    latin = [("latin", "", i + 1, j + 1, "", TREATMENTS[(i + j) % 5],
              10 + effect[TREATMENTS[(i + j) % 5]] + 0.5 * i - 0.7 * j + rng.normal())
             for i in range(5) for j in range(5)]  # fmt: skip
    latin_lost = [("latin_lost", *row[1:]) for n, row in enumerate(latin) if n not in (6, 18, 19)]
    factorial = [("factorial", b, "", "", w, t, 10 + effect[t] * (w == "p") + b + rng.normal())
                 for b in range(1, 4) for w in "pq" for t in "ABC"
                 if (b, w, t) not in [(1, "p", "A"), (2, "q", "C"), (3, "q", "C")]]  # fmt: skip
    rows += blocks + lost + latin + latin_lost + factorial
    table = pd.DataFrame(rows, columns=COLUMNS)
    table["y"] = table["y"].round(3)
    table.to_csv(Path(__file__).parent / "cases.csv", index=False)


if __name__ == "__main__":
    main()
