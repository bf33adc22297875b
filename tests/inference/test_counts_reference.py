"""Counts and shares against R (tests/reference/counts) and published InsectSprays values."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from trialkit.inference import families, glm, plot_counts
from trialkit.inference.counts import fit_counts
from trialkit.inference.design import Design, make_design
from trialkit.inference.estimates import ModelResult
from trialkit.inference.linear import fit_linear
from trialkit.inference.negative_binomial import fit_negative_binomial
from trialkit.inference.proportions import fit_proportions

HERE = Path(__file__).parents[1] / "reference" / "counts"
CASES = ("sprays", "counts", "culls")


def frame(case: str) -> pd.DataFrame:
    cases = pd.read_csv(HERE / "cases.csv")
    return cases[cases["case"] == case]


def design(case: str) -> Design:
    block = {} if case == "sprays" else {"block": "block"}
    size = "trials" if case == "culls" else "exposure"
    family = "proportion" if case == "culls" else "count"
    return make_design(frame(case), response="y", treatment="treatment", family=family,
                       **{size: "size"}, **block)  # fmt: skip


def result(case: str) -> ModelResult:
    return fit_proportions(design(case)) if case == "culls" else fit_counts(design(case))


def values(case: str) -> dict[str, float]:
    table = pd.read_csv(HERE / "values.csv")
    chosen = table[table["case"] == case]
    return dict(zip(chosen["quantity"], chosen["value"], strict=True))


def by_treatment(case: str, quantity: str) -> list[float]:
    return [values(case)[f"{quantity}|{label}"] for label in design(case).treatments]


@pytest.mark.parametrize("case", CASES)
def test_means_deviance_and_dispersion_are_those_of_r(case):
    found, R = result(case), values(case)
    assert found.means.estimate == pytest.approx(by_treatment(case, "mean"), rel=1e-6)
    for name in ("deviance", "dispersion", "clumping"):
        assert found.extra[name] == pytest.approx(R[name], rel=1e-6)
    assert found.extra["residual_df"] == R["df"]


@pytest.mark.parametrize("case", CASES)
def test_standard_errors_follow_the_formula_as_written_anew_in_r(case):
    se = np.sqrt(np.diag(result(case).means.covariance))
    assert se == pytest.approx(by_treatment(case, "se"), rel=1e-6)


@pytest.mark.parametrize("case", CASES)
def test_the_core_gives_the_textbook_quasi_likelihood_of_r(case):
    family = families.Binomial() if case == "culls" else families.Poisson()
    plots = plot_counts.read(design(case), family)
    k, y, matrix = len(plots.treatments), plots.response[None], plots.layout.matrix()
    less = np.column_stack([np.ones(len(y[0])), matrix[:, k:]])
    full, null = (glm.fit(family, m, y, plots.size) for m in (matrix, less))
    df = len(y[0]) - matrix.shape[1]
    phi = glm.pearson(family, y, full, plots.size) / df
    drop = [family.deviance(y, fit.mean, plots.size) for fit in (null, full)]
    F = (drop[0] - drop[1]) / (k - 1) / phi
    se = np.sqrt(phi * np.diagonal(full.inverse[0])[:k])
    assert F[0] == pytest.approx(values(case)["F"], rel=1e-6)
    assert stats.f.sf(F[0], k - 1, df) == pytest.approx(values(case)["p"], rel=1e-6)
    assert se == pytest.approx(by_treatment(case, "quasi_se"), rel=1e-6)


@pytest.mark.parametrize("case", ["sprays", "counts"])
def test_the_negative_binomial_is_that_of_mass(case):
    found, R = fit_negative_binomial(design(case)), values(case)
    assert found.k == pytest.approx(R["nb_k"], rel=1e-6)
    assert found.k_se == pytest.approx(R["nb_k_se"], rel=1e-6)
    assert 2 * found.log_likelihood == pytest.approx(R["nb_twologlik"], rel=1e-9)
    assert found.estimate == pytest.approx(by_treatment(case, "nb_mean"), rel=1e-6)
    se = np.sqrt(np.diag(found.covariance))
    assert se == pytest.approx(by_treatment(case, "nb_se"), rel=1e-6)


def test_insect_sprays_have_the_published_deviance_and_square_root_f():
    # Data: Beall 1942, Biometrika 32:243, as shipped with R; both values from memory of R output.
    assert result("sprays").extra["deviance"] == pytest.approx(98.33, abs=0.005)
    roots = frame("sprays").assign(root=lambda d: np.sqrt(d["y"]))
    row = fit_linear(make_design(roots, response="root", treatment="treatment")).tests.iloc[0]
    assert (row["df1"], row["df2"]) == (5, 66)
    assert row["F"] == pytest.approx(44.80, abs=0.005)
