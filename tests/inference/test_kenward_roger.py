"""Kenward-Roger against pbkrtest where components are held at zero, and in exact layouts."""

import numpy as np
import pytest

from tests.inference.across_reference import flat, values
from trialkit.inference.block_algebra import arrange
from trialkit.inference.kenward_roger import KenwardRoger, _match_moments
from trialkit.inference.mixed_model import across_model
from trialkit.inference.reml import fit_reml


def held_fit():
    model = across_model(flat())
    data = arrange(model.y, model.x, model.unit, model.factors)
    return model, KenwardRoger(fit_reml(data, nonnegative=data.names))


def test_boundary_fit_agrees_with_pbkrtest():
    (model, inference), expected = held_fit(), values("flat")
    found = inference.f_test(model.hypotheses["treatment"])
    assert found.statistic == pytest.approx(expected["treatment:kr_F"], rel=1e-4)
    assert found.df2 == pytest.approx(expected["treatment:kr_df2"], rel=1e-4)


def test_boundary_contrasts_agree_with_pbkrtest():
    (model, inference), expected = held_fit(), values("flat")
    rows = model.hypotheses["treatment"]
    spread = np.sqrt(np.diag(rows @ inference.covariance @ rows.T))
    for i, df in enumerate(inference.dfs(rows)):
        assert df == pytest.approx(expected[f"difference_kr_df:T{i + 2}"], rel=1e-4)
        assert spread[i] == pytest.approx(expected[f"difference_se:T{i + 2}"], rel=1e-4)


def test_free_fit_differs_from_the_boundary_fit_as_it_should():
    # The free fit keeps the negative component: a smaller error for the treatments.
    model, held = held_fit()
    data = arrange(model.y, model.x, model.unit, model.factors)
    free = KenwardRoger(fit_reml(data))
    rows = model.hypotheses["treatment"]
    spread = [np.sqrt(np.diag(rows @ k.covariance @ rows.T)).mean() for k in (free, held)]
    assert spread[0] < spread[1]


def test_one_contrast_has_the_degrees_of_freedom_of_its_own_f_test():
    model, inference = held_fit()
    row = model.hypotheses["treatment"][:1]
    assert inference.f_test(row).df2 == pytest.approx(inference.dfs(row)[0], rel=1e-10)
    assert inference.f_test(row).scaling == 1


def test_independent_errors_give_the_residual_degrees_of_freedom():
    draw = np.random.default_rng(1)
    group = np.repeat(np.arange(3), 4)
    x = np.eye(3)[group]
    fit = fit_reml(arrange(draw.normal(size=12), x, np.arange(12), {}))
    found = KenwardRoger(fit).f_test(np.array([[1.0, -1, 0], [1, 0, -1]]))
    assert found.df2 == pytest.approx(9, rel=1e-9)
    assert found.scaling == pytest.approx(1, rel=1e-9)


@pytest.mark.parametrize("df", [3.0, 4.0, 2.0, 2.5, 8.0, 45.0])
def test_degrees_of_freedom_run_through_the_points_where_moments_are_infinite(df):
    # Where all contrasts have the same relative variance, as in a balanced study, F is exact.
    rows, spread = 4, 2 / df
    scaling, found = _match_moments(rows**2 * spread, rows * spread, rows)
    assert (scaling, found) == pytest.approx((1, df), rel=1e-9)
