"""Linear models of one site-season agree with R (car, emmeans), and say what they cannot do."""

import linear_reference as reference
import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference.design import make_design
from trialkit.inference.least_squares import fit, model_matrix
from trialkit.inference.linear import fit_linear
from trialkit.inference.marginal_means import linear_means, unestimable
from trialkit.inference.sums_of_squares import term_tests

R_COLUMNS = {"Sum Sq": "sum_sq", "Df": "df1", "F value": "F", "Pr(>F)": "p"}


def agreeing(found: pd.DataFrame, wanted: dict[str, float], sums: str) -> int:
    compared = 0
    for row in found.to_dict(orient="records"):
        for theirs, ours in R_COLUMNS.items():
            key = f"{sums}|{row['term']}|{theirs}"
            if ours in row:
                assert row[ours] == pytest.approx(wanted[key], rel=1e-6), key
                compared += 1
    return compared


@pytest.mark.parametrize("name", reference.BLOCKING)
@pytest.mark.parametrize("sums", ["II", "III"])
def test_f_tests_agree_with_r(name, sums):
    model = fit_linear(reference.design(name), sums)
    assert agreeing(model.tests, reference.values(name), sums) >= 3
    assert model.extra["mse"] == pytest.approx(reference.values(name)["mse"], rel=1e-9)


@pytest.mark.parametrize("name", reference.BLOCKING)
def test_marginal_means_agree_with_emmeans(name):
    means, wanted = fit_linear(reference.design(name)).means, reference.values(name)
    for i, label in enumerate(means.treatments):
        assert means.estimate[i] == pytest.approx(wanted[f"mean|{label}"], rel=1e-9)
        assert means.covariance[i, i] ** 0.5 == pytest.approx(wanted[f"se|{label}"], rel=1e-9)
        assert means.df[i] == wanted[f"df|{label}"]


def factorial():
    frame = reference.case("factorial")[["block", "whole_plot", "treatment", "y"]].copy()
    for name in ("block", "whole_plot", "treatment"):
        frame[name] = pd.Categorical(frame[name].astype(str))
    terms = ["block", "whole_plot", "treatment", "whole_plot:treatment"]
    return frame, fit(model_matrix(frame, terms), frame["y"].to_numpy())


@pytest.mark.parametrize("sums", ["II", "III"])
def test_the_two_types_of_an_unbalanced_factorial_agree_with_car(sums):
    _, done = factorial()
    assert agreeing(term_tests(done, sums), reference.values("factorial"), sums) == 16


def test_means_of_an_unbalanced_factorial_agree_with_emmeans():
    _, done = factorial()
    means, wanted = linear_means(done), reference.values("factorial")
    for i, label in enumerate(means.treatments):
        assert means.estimate[i] == pytest.approx(wanted[f"mean|{label}"], rel=1e-9)
        assert means.covariance[i, i] ** 0.5 == pytest.approx(wanted[f"se|{label}"], rel=1e-9)


def test_a_mean_over_an_empty_cell_is_not_invented_but_explained():
    frame, _ = factorial()
    frame = frame[~((frame["whole_plot"] == "q") & (frame["treatment"] == "C"))]
    terms = ["block", "whole_plot", "treatment", "whole_plot:treatment"]
    means = linear_means(fit(model_matrix(frame, terms), frame["y"].to_numpy()))
    assert np.isnan(means.estimate).tolist() == [False, False, True]
    (sentence,) = unestimable(means)
    assert "'C' cannot be estimated" in sentence


def test_a_lost_plot_is_said_and_means_are_adjusted():
    frame = reference.case("rcbd").reset_index(drop=True)
    frame.loc[[3, 10], "y"] = np.nan
    model = fit_linear(make_design(frame, response="y", treatment="treatment", block="block"))
    assert "2 of 20 plots are left out. The means are adjusted" in model.notes[0]
    wanted = reference.values("rcbd_lost")["mean|D"]
    assert model.means.estimate[3] == pytest.approx(wanted, rel=1e-9)


def test_lognormal_means_are_geometric_and_contrasts_ratios():
    frame = reference.case("crd")
    model = fit_linear(make_design(frame, response="y", treatment="treatment", family="lognormal"))
    a = frame.loc[frame["treatment"] == "A", "y"]
    assert np.exp(model.means.estimate[0]) == pytest.approx(np.prod(a) ** (1 / len(a)), rel=1e-12)
    assert model.means.link == "log"


def small(y):
    return pd.DataFrame({"y": y, "t": list("ABAB"), "b": list("1122")})


def test_no_degrees_of_freedom_for_error_is_refused():
    frame = small([1.0, 2.0, 4.0, 3.0]).iloc[:3]
    with pytest.raises(AnalysisError, match="no degrees of freedom"):
        fit_linear(make_design(frame, response="y", treatment="t", block="b"))


def test_a_response_that_follows_the_design_exactly_is_refused():
    with pytest.raises(AnalysisError, match="'y' follows block"):
        fit_linear(make_design(small([0.1, 0.3, 0.4, 0.6]), response="y", treatment="t", block="b"))
