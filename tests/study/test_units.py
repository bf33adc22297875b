"""Conversions at the two edges; factors from NIST Special Publication 811 (2008), appendix B.8."""

import numpy as np
import pytest

from trialkit.study.units import is_unit_of, to_canonical, to_display, unit_label


@pytest.mark.parametrize(
    ("quantity", "typed", "canonical"),
    [
        ("weight", 1.0, 0.45359237),  # pound
        ("area", 1.0, 0.09290304),  # square foot
        ("rain", 1.0, 25.4),  # inch
        ("temperature", 212.0, 100.0),
        ("temperature", 32.0, 0.0),
        ("weight_fruit", 16.0, 0.45359237),  # ounces in a pound
    ],
)
def test_us_units_become_si_by_the_published_factors(quantity, typed, canonical):
    assert to_canonical(typed, quantity, "us") == pytest.approx(canonical, rel=1e-9, abs=1e-9)


def test_yield_is_read_in_pounds_an_acre():
    acre_in_square_metres = 4046.8726  # NIST SP 811: acre (based on US survey foot) 4.046 873 E+03
    expected = acre_in_square_metres / 0.45359237
    assert to_display(1.0, "yield_area", "us") == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("units", ["us", "si"])
@pytest.mark.parametrize("quantity", ["weight", "area", "length", "rain", "temperature"])
def test_there_and_back_changes_nothing(quantity, units):
    numbers = np.linspace(-5, 50, 7)
    np.testing.assert_allclose(
        to_display(to_canonical(numbers, quantity, units), quantity, units), numbers, atol=1e-9
    )


def test_what_needs_no_conversion_stays_as_it_is():
    assert to_display(3.5, "days", "us") == 3.5
    assert unit_label("days", "us") == "days"


def test_units_are_known_by_what_they_measure():
    assert is_unit_of("oz", "weight")
    assert not is_unit_of("oz", "area")
    assert not is_unit_of("bushels_of_nonsense", "weight")
