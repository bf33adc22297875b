"""Taylor's power law and Green's stop lines, against arithmetic shown and simulated counts."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.planning.sampling import (
    PowerLaw,
    fit_power_law,
    plants_needed,
    stop_curve,
    stop_line,
    stop_table,
)

LAW = PowerLaw(a=2.0, b=1.5, se_b=0.1, r_squared=0.9, groups=50)


def counts_with(a: float, b: float, means: np.ndarray) -> pd.DataFrame:
    """Three 'plants' a group, m - d, m, m + d: their variance is d², so s² = a m^b exactly."""
    rows = [
        (number, "p", mean + sign * np.sqrt(a * mean**b))
        for number, mean in enumerate(means)
        for sign in (-1, 0, 1)
    ]
    return pd.DataFrame(rows, columns=["date", "plot", "count"])


def test_an_exact_power_law_is_found_exactly():
    law = fit_power_law(counts_with(2.5, 1.37, np.array([0.5, 1, 3, 8, 20, 50])))
    assert (law.a, law.b) == (pytest.approx(2.5), pytest.approx(1.37))
    assert law.r_squared == pytest.approx(1)


def test_poisson_counts_have_a_and_b_near_one():
    rng = np.random.default_rng(2)
    means = np.repeat(np.exp(rng.uniform(0, 4, 300)), 40)
    frame = pd.DataFrame({"date": np.arange(300).repeat(40), "count": rng.poisson(means)})
    law = fit_power_law(frame, by=("date",))
    assert law.b == pytest.approx(1, abs=4 * law.se_b)
    assert law.a == pytest.approx(1, abs=0.1)


def test_plants_needed_by_hand():
    """a m^(b-2) / D²: 2 x 4^-0.5 / 0.0625 = 16; 2 x 1 / 0.04 = 50."""
    assert plants_needed(LAW, 4.0, 0.25) == pytest.approx(16)
    assert plants_needed(LAW, 1.0, 0.2) == pytest.approx(50)


def test_the_stop_line_by_hand():
    """(0.0625 / 2)^(1 / -0.5) x 16^(0.5 / -0.5) = 1024 / 16 = 64."""
    assert stop_line(LAW, 16, 0.25) == pytest.approx(64)


def test_the_stop_line_meets_plants_needed_at_every_mean():
    means = np.array([0.5, 1.0, 2.0, 7.0])
    plants = plants_needed(LAW, means, 0.3)
    assert stop_line(LAW, plants, 0.3) == pytest.approx(plants * means)


def test_sampling_stopped_on_the_line_keeps_its_precision():
    rng, law = np.random.default_rng(6), PowerLaw(1.0, 1.0, 0.0, 1.0, 9)
    totals = rng.poisson(3.0, (4000, 200)).cumsum(axis=1)
    stops = (totals >= stop_line(law, np.arange(1, 201), 0.2)).argmax(axis=1)
    means = totals[np.arange(4000), stops] / (stops + 1)
    assert means.std() / means.mean() == pytest.approx(0.2, abs=0.03)


@pytest.mark.parametrize("law", [PowerLaw(1.0, 1.0, 0, 1, 9), PowerLaw(2.0, 1.3, 0, 1, 9)])
def test_the_stop_line_does_at_every_mean_what_was_asked_for(law):
    """Plants are a m^(b-2) / D² to first order, made up to whole ones; means come a bit high."""
    means = np.array([1.0, 3.0, 6.0])
    curve = stop_curve(law, 0.2, means, fewest=2, most=400)
    needed = plants_needed(law, means, 0.2)
    assert (curve["plants"] - needed).between(-0.5 - 0.03 * needed, 1 + 0.03 * needed).all()
    assert curve["precision"].to_numpy() == pytest.approx(0.2, abs=0.03)
    assert curve["bias"].between(-0.01, 0.08).all()
    assert (curve["plants_90"] >= curve["plants"]).all()


def test_a_sampler_who_may_not_go_on_keeps_less_than_was_asked_for():
    (row,) = stop_curve(LAW, 0.1, [0.5], most=30).to_dict("records")
    assert row["plants"] == 30
    assert row["precision"] > 0.2


def test_the_card_falls_for_counts_that_are_clumped():
    card = stop_table(LAW, 0.25)
    assert (np.diff(card["stop_at_total"]) < 0).all()


def test_too_few_groups_are_said_to_be_too_few():
    with pytest.raises(AnalysisError, match="needs 5"):
        fit_power_law(counts_with(1, 1, np.array([1.0, 2.0, 3.0])))


def test_counts_too_clumped_have_no_stop_line():
    with pytest.raises(AnalysisError, match="no stop line"):
        stop_line(PowerLaw(2.0, 2.1, 0.1, 0.9, 9), 10, 0.25)


@pytest.mark.parametrize("precision", [0.0, 1.0, -0.2])
def test_an_impossible_precision_is_refused(precision):
    with pytest.raises(AnalysisError, match="between 0 and 1"):
        plants_needed(LAW, 1.0, precision)
