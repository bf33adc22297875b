import numpy as np
import pandas as pd
import pytest

from trialkit.measures import rain_normals
from trialkit.measures.rain import daily_normal


def _years(first, last, rain):
    days = pd.date_range(f"{first}-01-01", f"{last}-12-31")
    return pd.DataFrame({"date": days, "rain": rain})


def test_the_days_of_a_month_add_up_to_its_normal():
    days = pd.date_range("2024-02-01", "2024-02-29")
    assert daily_normal(days, {2: 58.0}).sum() == pytest.approx(58.0)
    assert np.isnan(daily_normal(days, {3: 58.0})).all()


def test_normals_are_mean_sums_of_whole_months_of_earlier_years():
    weather = _years(2010, 2021, rain=1.0)
    later = weather["date"].dt.year >= 2020
    weather = weather.assign(rain=weather["rain"].mask(later, 50.0))
    found = rain_normals(weather, before=2020)
    assert found[6] == pytest.approx(30.0)
    assert found[2] == pytest.approx((8 * 28 + 2 * 29) / 10)


def test_a_month_with_a_hole_does_not_count_and_too_few_years_give_no_normal():
    weather = _years(2010, 2019, rain=1.0)
    hole = weather["date"] == "2015-06-10"
    found = rain_normals(weather.assign(rain=weather["rain"].mask(hole)), before=2020)
    assert 6 not in found
    assert len(found) == 11
