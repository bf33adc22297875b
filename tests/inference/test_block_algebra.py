"""Laying data out by unit: like units counted once, nothing lost on the way."""

import numpy as np
import pytest

from trialkit.inference.block_algebra import arrange
from trialkit.inference.restricted_likelihood import evaluate


def layout(environments: int, lost: tuple[int, ...] = ()):
    e, b, t = (a.ravel() for a in np.indices((environments, 3, 4)))
    kept = np.setdiff1d(np.arange(len(e)), lost)
    e, b, t = e[kept], b[kept], t[kept]
    y = np.random.default_rng(1).normal(size=len(e))
    return y, np.eye(4)[t], e, {"e": e, "eb": e * 3 + b, "et": e * 4 + t}


def dense_loglik(y, x, factors, theta) -> float:
    """Return the restricted log likelihood from the full covariance matrix, textbook form."""
    v = theta[-1] * np.eye(len(y))
    for share, labels in zip(theta, factors.values(), strict=False):
        v += share * (labels[:, None] == labels)
    w = np.linalg.inv(v)
    information = x.T @ w @ x
    rest = y - x @ np.linalg.solve(information, x.T @ w @ y)
    log_det = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
    n, p = x.shape
    return -((n - p) * np.log(2 * np.pi) + log_det + rest @ w @ rest) / 2


def test_balanced_units_are_counted_once():
    data = arrange(*layout(50))
    assert [s.count.tolist() for s in data.stacks] == [[50.0]]
    assert np.bincount(data.stacks[0].part).tolist() == [1, 3, 4, 12]


def test_few_units_that_lost_plots_are_filled_up_to_the_size_of_the_rest():
    data = arrange(*layout(5, lost=(0, 13)))
    assert [s.count.tolist() for s in data.stacks] == [[1.0, 1.0, 3.0]]
    assert data.stacks[0].idle.sum(axis=1).tolist() == [1.0, 1.0, 0.0]


def test_many_units_of_a_size_are_not_filled_up():
    data = arrange(*layout(90, lost=tuple(range(0, 540, 12))))
    assert [s.x.shape[1] for s in data.stacks] == [11, 12]


@pytest.mark.parametrize("lost", [(), (0, 13, 14, 40)])
def test_likelihood_equals_that_of_the_full_matrix(lost):
    y, x, unit, factors = layout(4, lost)
    data = arrange(y, x, unit, factors)
    theta = np.array([0.4, 0.2, 0.3, 0.8])
    shift = (data.n - data.p) * np.log(data.scale)
    found = evaluate(data, theta).loglik - shift
    assert found == pytest.approx(dense_loglik(y, x, factors, theta * data.scale**2), rel=1e-12)


def test_order_of_rows_changes_nothing():
    y, x, unit, factors = layout(4, (0, 13, 14, 40))
    mixed = np.random.default_rng(2).permutation(len(y))
    first = evaluate(arrange(y, x, unit, factors), np.full(4, 0.25))
    shuffled = {name: labels[mixed] for name, labels in factors.items()}
    second = evaluate(arrange(y[mixed], x[mixed], unit[mixed], shuffled), np.full(4, 0.25))
    assert second.loglik == pytest.approx(first.loglik, rel=1e-12)
    np.testing.assert_allclose(second.beta, first.beta, atol=1e-12)


def test_rows_lead_back_to_the_input():
    y, x, unit, factors = layout(4, (0, 13))
    data = arrange(y, x, unit, factors)
    filled = np.vstack([x, np.zeros(4)])
    found = np.sort(np.concatenate([s.rows.ravel() for s in data.stacks]))
    assert found[found < len(y)].tolist() == list(range(len(y)))
    for stack in data.stacks:
        np.testing.assert_array_equal(filled[stack.rows], stack.x[stack.kind])


def test_a_component_can_be_left_out():
    data = arrange(*layout(4)).without("eb")
    assert data.names == ("e", "et", "residual")
    assert np.bincount(data.stacks[0].part).tolist() == [1, 4, 12]
    assert data.stacks[0].members.shape == (1, 12, 17)
