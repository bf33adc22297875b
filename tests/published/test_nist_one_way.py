"""NIST's one-way sets (StRD, shipped in scipy's tests): certified to 15 digits.

Reading the values as doubles already loses digits: of the certified F, exact rational arithmetic on
the doubles reaches 13 digits for SiRstv, 10 where seven leading digits are constant, and 4 where
thirteen are. The computed F is held to those digits, and to the exact one for the doubles as read.
"""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import scipy.stats

from trialkit.inference.design import make_design
from trialkit.inference.linear import fit_design
from trialkit.inference.sums_of_squares import term_tests

FOLDER = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova"
DIGITS = {"SiRstv": 13, "SmLs01": 14, "SmLs02": 14, "SmLs03": 14, "AtmWtAg": 10, "SmLs04": 10,
          "SmLs05": 10, "SmLs06": 10, "SmLs07": 4, "SmLs08": 4, "SmLs09": 4}  # fmt: skip


def read(name: str) -> tuple[pd.DataFrame, float]:
    lines = (FOLDER / f"{name}.dat").read_text().splitlines()
    certified = next(line for line in lines if line.startswith("Between")).split()
    rows = [line.split() for line in lines[60:] if line.strip()]
    return pd.DataFrame(rows, columns=["group", "y"]), float(certified[-1])


def computed_f(frame: pd.DataFrame) -> float:
    design = make_design(frame, response="y", treatment="group")
    return float(term_tests(fit_design(design))["F"].iloc[0])


def exact_f(frame: pd.DataFrame) -> float:
    groups = [[Fraction(float(v)) for v in g] for _, g in frame.groupby("group")["y"]]
    n, k = len(frame), len(groups)
    grand = sum(map(sum, groups)) / n
    means = [sum(g) / len(g) for g in groups]
    between = sum(len(g) * (m - grand) ** 2 for g, m in zip(groups, means, strict=True))
    within = sum((v - m) ** 2 for g, m in zip(groups, means, strict=True) for v in g)
    return float((between / (k - 1)) / (within / (n - k)))


@pytest.mark.parametrize("name", DIGITS)
def test_certified_f_is_reached_as_far_as_doubles_hold_the_data(name):
    frame, certified = read(name)
    digits = -np.log10(abs(computed_f(frame) - certified) / certified + 1e-16)
    assert digits >= DIGITS[name]


@pytest.mark.parametrize("name", ["AtmWtAg", "SiRstv", "SmLs04", "SmLs07", "SmLs08"])
def test_arithmetic_is_exact_on_the_doubles_as_read(name):
    frame, _ = read(name)
    assert computed_f(frame) == pytest.approx(exact_f(frame), rel=1e-13)
