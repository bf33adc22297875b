"""The GLM core: many data sets at once, finite where a penalty is asked for."""

import numpy as np
import pytest

from trialkit.inference import glm
from trialkit.inference.families import Binomial, Poisson

GROUPS = np.repeat(np.eye(2), 3, axis=0)


def test_each_data_set_is_fitted_as_if_it_stood_alone():
    counts = np.array([[1.0, 2, 3, 9, 8, 1], [5, 0, 1, 2, 2, 2]])
    both = glm.fit(Poisson(), GROUPS, counts, np.ones(6))
    alone = glm.fit(Poisson(), GROUPS, counts[1:], np.ones(6))
    assert np.exp(both.coefficients) == pytest.approx(np.array([[2, 6], [2, 2]]))
    assert both.inverse[1] == pytest.approx(alone.inverse[0])


def test_the_penalty_adds_half_an_event_to_a_single_total():
    # One mean from three plots: Jeffreys' prior makes it (total + 1/2) / 3.
    one = np.ones((3, 1))
    found = glm.fit(Poisson(), one, np.zeros((1, 3)), np.ones(3), penalised=True)
    assert np.exp(found.coefficients[0, 0]) == pytest.approx(0.5 / 3)
    share = glm.fit(Binomial(), one, np.zeros((1, 3)), np.full(3, 10.0), penalised=True)
    assert share.mean[0, 0] / 10 == pytest.approx(0.5 / 31)


def test_an_estimate_on_its_way_to_infinity_is_noticed():
    counts = np.array([[0.0, 0, 0, 4, 5, 6], [1, 0, 0, 4, 5, 6]])
    fitted = glm.fit(Poisson(), GROUPS, counts, np.ones(6))
    assert glm.runs_away(Poisson(), fitted, np.ones(6)).tolist() == [True, False]


def test_leverages_add_up_to_the_number_of_coefficients():
    fitted = glm.fit(Poisson(), GROUPS, np.array([[1.0, 2, 3, 9, 8, 1]]), np.ones(6))
    assert glm.leverage(GROUPS, fitted.weight, fitted.inverse).sum() == pytest.approx(2)


@pytest.mark.parametrize(("family", "size"), [(Poisson(), 1.0), (Binomial(), 12.0)])
def test_the_deviance_is_zero_only_at_the_data(family, size):
    y, n = np.array([[1.0, 4, 7]]), np.full(3, size)
    assert family.deviance(y, y, n)[0] == pytest.approx(0, abs=1e-12)
    assert family.deviance(y, y + 0.5, n)[0] > 0
