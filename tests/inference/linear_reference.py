"""The cases that R analysed (tests/reference/linear) and the values it gave."""

from pathlib import Path

import pandas as pd

from trialkit.inference.design import Design, make_design

HERE = Path(__file__).parents[1] / "reference" / "linear"
BLOCKING = {
    "crd": {},
    "rcbd": {"block": "block"},
    "rcbd_lost": {"block": "block"},
    "latin": {"row": "row", "column": "column"},
    "latin_lost": {"row": "row", "column": "column"},
}


def case(name: str) -> pd.DataFrame:
    cases = pd.read_csv(HERE / "cases.csv")
    return cases[cases["case"] == name]


def design(name: str, **options: object) -> Design:
    return make_design(case(name), response="y", treatment="treatment", **BLOCKING[name], **options)


def values(name: str) -> dict[str, float]:
    table = pd.read_csv(HERE / "values.csv")
    chosen = table[table["case"] == name]
    return dict(zip(chosen["quantity"], chosen["value"], strict=True))
