"""Residual checks agree with R and say what to do."""

import linear_reference as reference
import numpy as np
import pandas as pd
import pytest

from trialkit.inference.checks import residual_checks
from trialkit.inference.design import make_design
from trialkit.inference.linear import fit_design, fit_linear


def checks_of(design):
    return {check.name: check for check in residual_checks(design, fit_linear(design))}


@pytest.mark.parametrize("name", ["crd", "rcbd", "rcbd_lost"])
def test_checks_agree_with_r(name):
    design, wanted = reference.design(name), reference.values(name)
    found = checks_of(design)
    assert found["normality"].p == pytest.approx(wanted["shapiro"], rel=1e-6)
    assert found["equal variance"].p == pytest.approx(wanted["brown_forsythe"], rel=1e-6)
    if name != "crd":
        fit, ss = fit_design(design), wanted["tukey_non_additivity"]
        F = ss / ((fit.sse - ss) / (fit.df - 1))
        assert found["additivity"].statistic == pytest.approx(F, rel=1e-6)


def blocks(response):
    rng = np.random.default_rng(1)
    rows = [(b, t, response(b, t, rng.normal())) for b in range(1, 7) for t in range(1, 6)]
    return make_design(
        pd.DataFrame(rows, columns=["b", "t", "y"]), response="y", treatment="t", block="b"
    )


def test_effects_that_multiply_are_found_and_the_logarithm_advised():
    check = checks_of(blocks(lambda b, t, e: np.exp(0.5 * b + 0.5 * t + 0.05 * e)))["additivity"]
    assert check.p < 0.001
    assert "Analyse the logarithm" in check.sentence


def test_a_single_wild_value_is_named_by_its_row():
    check = checks_of(blocks(lambda b, t, e: b + t + e + 40 * (b == 3 and t == 2)))["normality"]
    assert "row 11 is farthest off" in check.sentence


def test_spread_that_differs_is_found():
    frame = blocks(lambda b, t, e: e * (30 if t == 5 else 1)).frame
    check = checks_of(make_design(frame, response="response", treatment="treatment"))
    check = check["equal variance"]
    assert check.p < 0.05
    assert "unequally" in check.sentence
