import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from trialkit.measures import simple_average, single_sine


@st.composite
def days(draw):
    low = draw(st.floats(-20, 40))
    return low, low + draw(st.floats(0, 25))


def _by_quadrature(low, high, base, ceiling):
    """Mean height of the clipped sine over a fine grid of one day."""
    angle = (np.arange(200_000) + 0.5) / 200_000 * 2 * np.pi
    heat = (low + high) / 2 + (high - low) / 2 * np.sin(angle)
    return float((np.clip(heat, base, ceiling) - base).mean())


def test_simple_average_of_25_and_5_above_10_is_5():
    # Source: own arithmetic, (25 + 5) / 2 - 10.
    assert simple_average([5], [25], base=10).tolist() == [5.0]


def test_single_sine_of_25_and_5_above_10_is_6_09():
    # Source: own arithmetic from the formula of Baskerville & Emin 1969.
    assert single_sine([5], [25], base=10)[0] == pytest.approx(6.09, abs=0.005)


def test_simple_average_raises_the_mean_to_the_base_and_lowers_it_to_the_ceiling():
    found = simple_average([0, 30], [10, 44], base=10, ceiling=35)
    assert found.tolist() == [0.0, 25.0]


@pytest.mark.parametrize("base", [-5.0, 10.0, 18.0, 24.9])
@pytest.mark.parametrize("ceiling", [25.0, 30.0, 40.0])
def test_single_sine_with_ceiling_equals_the_area_under_the_clipped_curve(base, ceiling):
    # Checked from outside the formula: numerical quadrature of the sine itself.
    found = single_sine([12.0], [33.0], base=base, ceiling=ceiling)[0]
    assert found == pytest.approx(_by_quadrature(12.0, 33.0, base, ceiling), abs=1e-6)


@given(days())
def test_single_sine_equals_the_simple_average_on_days_wholly_above_the_base(day):
    low, high = day
    base = low - 1.0
    sine, plain = single_sine([low], [high], base), simple_average([low], [high], base)
    assert sine[0] == pytest.approx(plain[0])


@given(days(), st.floats(-10, 45))
def test_single_sine_is_never_below_the_simple_average_without_ceiling(day, base):
    low, high = day
    assert single_sine([low], [high], base)[0] >= simple_average([low], [high], base)[0] - 1e-9


def test_a_missing_temperature_gives_a_missing_sum():
    assert np.isnan(single_sine([np.nan, 5], [20, 25], base=10)).tolist() == [True, False]
