"""The REML fit: held components against lme4, free ones against mean squares, and its record."""

import numpy as np
import pytest

from tests.inference.across_reference import dales, flat, values
from trialkit.inference.block_algebra import BlockData, arrange
from trialkit.inference.mixed_model import across_model
from trialkit.inference.reml import first_inside, fit_reml, identifiable, regular_fits
from trialkit.inference.restricted_likelihood import evaluate, is_positive_definite


def data_of(design) -> BlockData:
    model = across_model(design)
    return arrange(model.y, model.x, model.unit, model.factors)


def one_way(draw: np.random.Generator, groups: int = 5, size: int = 4, effect: float = 1.0):
    group = np.repeat(np.arange(groups), size)
    y = effect * draw.normal(size=groups)[group] + draw.normal(size=len(group))
    return y, arrange(y, np.ones((len(y), 1)), group, {"group": group})


@pytest.mark.parametrize("seed", range(5))
def test_free_components_equal_the_mean_squares_of_a_balanced_one_way_layout(seed):
    y, data = one_way(np.random.default_rng(seed), effect=0.3)
    table = y.reshape(5, 4)
    within = table.var(axis=1, ddof=1).mean()
    between = 4 * table.mean(axis=1).var(ddof=1)
    fit = fit_reml(data)
    np.testing.assert_allclose(fit.components, [(between - within) / 4, within], rtol=1e-10)
    assert fit.record.iterations == 1


def test_components_held_at_zero_agree_with_lme4_on_the_boundary():
    data, expected = data_of(flat()), values("flat")
    fit = fit_reml(data, nonnegative=data.names)
    assert fit.record.boundary == ("environment:treatment",)
    for name, found in zip(fit.names, fit.components, strict=True):
        assert found == pytest.approx(expected[f"component:{name}"], rel=1e-4, abs=1e-6)
    assert fit.loglik == pytest.approx(expected["loglik"], rel=1e-8)


def test_free_fit_is_at_least_as_likely_as_the_held_one():
    data = data_of(flat())
    assert fit_reml(data).loglik > fit_reml(data, nonnegative=data.names).loglik


def test_record_tells_the_whole_path():
    record = fit_reml(data_of(dales())).record
    assert record.converged
    assert list(record.path) == sorted(record.path)
    assert record.iterations == len(record.path) - 1 > 1
    assert max(map(abs, record.gradient)) < 1e-6
    assert record.as_dict()["value"] == record.path[-1]


def test_score_and_information_are_derivatives_of_the_likelihood():
    data, theta = data_of(dales()), np.array([0.9, 0.2, 0.3, 0.5])
    at, step = evaluate(data, theta), 1e-5
    for k in range(4):
        move = step * np.eye(4)[k]
        up, down = evaluate(data, theta + move), evaluate(data, theta - move)
        slope = (up.loglik - down.loglik) / (2 * step)
        assert at.score[k] == pytest.approx(slope, rel=1e-5, abs=1e-6)
        curve = -(up.score - down.score) / (2 * step)
        np.testing.assert_allclose(at.observed[k], curve, rtol=1e-5, atol=1e-5)


def test_covariance_that_is_not_positive_definite_has_no_likelihood():
    assert evaluate(data_of(dales()), np.array([-5.0, 0.1, 0.1, 0.1])) is None


def test_component_that_repeats_another_is_dropped():
    draw = np.random.default_rng(3)
    group = np.repeat(np.arange(5), 4)
    factors = {"group": group, "again": group + 100}
    y = draw.normal(size=20)
    data, dropped, _ = identifiable(arrange(y, np.ones((20, 1)), group, factors))
    assert dropped == ("again",)
    assert data.names == ("group", "residual")


def lopsided(seed: int) -> BlockData:
    """Return pure noise in 3 environments x 3 blocks x 5 treatments, 5 plots of which are lost."""
    draw = np.random.default_rng(seed)
    e, b, t = (a.ravel() for a in np.indices((3, 3, 5)))
    kept = np.sort(draw.permutation(45)[5:])
    y = draw.normal(size=45)
    factors = {"e": e[kept], "eb": (e * 3 + b)[kept], "et": (e * 5 + t)[kept]}
    return arrange(y[kept], np.eye(5)[t[kept]], e[kept], factors)


def test_fit_without_a_maximum_inside_is_caught_and_one_component_held():
    fits = [(fit_reml(data), next(regular_fits(data))) for data in map(lopsided, range(120))]
    caught = [(free, kept) for free, kept in fits if not free.record.converged]
    assert caught
    for _, kept in caught:
        assert kept.record.converged
        assert kept.record.held
    assert len(caught) < 0.2 * len(fits)


def test_fits_with_a_maximum_inside_are_left_free():
    fit = next(regular_fits(data_of(dales())))
    assert fit.record.held == ()


@pytest.mark.parametrize("far", [3.0, 50.0, 3000.0, 1e6])
def test_a_step_out_of_the_positive_definite_is_halved_as_often_as_needed(far):
    site = np.repeat(np.arange(3), 2)
    data = arrange(np.array([1.0, 2, 2, 4, 3, 3]), np.ones((6, 1)), site, {"site": site})

    def theta(halving):
        return np.array([1.0 - far * 0.5**halving, 1.0])

    first = first_inside(data, theta)
    assert is_positive_definite(data, theta(first))
    assert first == 1 or not is_positive_definite(data, theta(first - 1))
