"""Does a 5 % test reject a true hypothesis in 5 % of trials, and does a 95 % interval hold?

    python tests/benchmarks/calibrate.py [--datasets 4000] [--only PART_OF_NAME] [--again]

Runs every cell of the ``scenarios_*.py`` beside this file and writes calibration.csv and
calibration.md. Each cell has a seed of its own made from its name, so that a cell gives the same
numbers whichever others run; one that the table already holds with enough data sets is not run
again, so an interrupted run goes on where it stopped.
"""

import argparse
import importlib
import sys
import time
import zlib
from pathlib import Path

import pandas as pd

HERE = Path(__file__).parent
TABLE = HERE / "calibration.csv"
COLUMNS = ["name", "design", "cell", "method", "n", "type1", "coverage", "prediction", "bound",
           "seed"]  # fmt: skip
SHARES = ("type1", "coverage", "prediction")
TYPE1 = (0.035, 0.065)
COVERAGE = (0.935, 0.965)


def scenario_cells() -> list:
    """Return the cells of all scenario modules, in the order of their names."""
    sys.path.insert(0, str(HERE))
    names = sorted(path.stem for path in HERE.glob("scenarios_*.py"))
    return [cell for name in names for cell in importlib.import_module(name).cells()]


def seed_of(name: str) -> int:
    return zlib.crc32(name.encode())


def read_table() -> pd.DataFrame:
    found = pd.read_csv(TABLE) if TABLE.exists() else pd.DataFrame(columns=COLUMNS)
    return found.reindex(columns=COLUMNS)


def run_cell(cell, n_datasets: int) -> dict[str, object]:
    seed = seed_of(cell.name)
    found = cell.run(n_datasets, seed)
    words = {key: cell.describe[key] for key in ("design", "cell", "method")}
    shares = {name: round(found.get(name, float("nan")), 4) for name in SHARES}
    origin = {"bound": cell.bound, "seed": seed}
    return {"name": cell.name} | words | {"n": int(found["n"])} | shares | origin


def merged(table: pd.DataFrame, row: dict[str, object], order: list[str]) -> pd.DataFrame:
    """Return the table with ``row`` in place of any earlier one, in the order of the cells."""
    kept = [r for r in table.to_dict(orient="records") if r["name"] != row["name"]]
    rows = sorted([*kept, row], key=lambda r: order.index(r["name"]) if r["name"] in order else 1e9)
    return pd.DataFrame(rows, columns=COLUMNS)


def fails(row: dict[str, object]) -> list[str]:
    """Return what a row of the table misses of the bar, in words."""
    missed = []
    type1, coverage = float(row["type1"]), float(row["coverage"])
    if type1 == type1 and not TYPE1[0] <= type1 <= TYPE1[1]:
        missed.append(f"type I error {type1:.4f}")
    upper = 1.0 if row["bound"] else COVERAGE[1]
    lower = 0.95 if row["bound"] else COVERAGE[0]
    if coverage == coverage and not lower <= coverage <= upper:
        missed.append(f"coverage {coverage:.4f}")
    return missed


def markdown(table: pd.DataFrame) -> str:
    lines = [
        "Bar: type I error 0.035 to 0.065, coverage 0.935 to 0.965 (a bound: at least 0.95).",
        "Prediction: how often a 95 % prediction interval holds the truth of one more environment;",
        "no bar is set for it.",
        "",
        "| design | cell | method | data sets | type I error | coverage | prediction |",
        "| --- | --- | --- | ---: | ---: | ---: | ---: |",
    ]
    for row in table.to_dict(orient="records"):
        type1, held, next_one = (f"{row[k]:.4f}" if row[k] == row[k] else "" for k in SHARES)
        words = [str(row[k]) for k in ("design", "cell", "method", "n")]
        flag = " **misses**" if fails(row) else ""
        lines.append(f"| {' | '.join(words)} | {type1} | {held}{flag} | {next_one} |")
    return "\n".join(lines) + "\n"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--datasets", type=int, default=4000)
    options.add_argument("--only", default="")
    options.add_argument("--again", action="store_true")
    asked = options.parse_args()
    cells = scenario_cells()
    order = [cell.name for cell in cells]
    for cell in (c for c in cells if asked.only in c.name):
        table = read_table()
        done = table[(table["name"] == cell.name) & (table["n"] >= asked.datasets)]
        if len(done) and not asked.again:
            continue
        start = time.perf_counter()
        row = run_cell(cell, asked.datasets)
        table = merged(read_table(), row, order)
        table.to_csv(TABLE, index=False)
        (HERE / "calibration.md").write_text(markdown(table))
        seconds = time.perf_counter() - start
        print(f"{cell.name}: type I {row['type1']}, coverage {row['coverage']} ({seconds:.1f} s)")


if __name__ == "__main__":
    main()
