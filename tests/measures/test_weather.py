import numpy as np
import pandas as pd
import pytest

from trialkit.measures import weather_summary

HEAT = {"base": 10.0, "ceiling": 32.0}
SITES = [{"id": "north", "name": "North Field", "normal_rain": {5: 62.0, 6: 90.0}}]


@pytest.fixture
def events(table):
    rows = (("2025-05-20", None, "transplanted"), ("2025-06-20", None, "first_bloom"))
    return table("date plot event", *rows)


@pytest.fixture
def harvest(table):
    return table("date plot grade fruit weight", ("2025-06-30", "c1", "marketable", 1, 0.2))


@pytest.fixture
def weather():
    """1 May to 31 July: 5 to 25 °C and 2 mm every day, but for a hot, dry 21 June."""
    days = pd.date_range("2025-05-01", "2025-07-31")
    table = pd.DataFrame({"date": days, "tmin": 5.0, "tmax": 25.0, "rain": 2.0})
    hot = table["date"] == "2025-06-21"
    return table.assign(
        tmin=table["tmin"].mask(hot, 20.0),
        tmax=table["tmax"].mask(hot, 36.0),
        rain=table["rain"].mask(hot, 0.4),
    )


@pytest.fixture
def summed(study, plots, events, harvest, weather):
    """Sum up the weather of the site-season, with tables replaced by name."""

    def make(parts=None, **tables):
        usual = {"plots": plots, "events": events, "harvest": harvest, "weather": weather}
        described = study(**{"degree_days": HEAT, "sites": SITES, **(parts or {})})
        return weather_summary(described, 2025, "north", {**usual, **tables})

    return make


def test_sums_run_from_transplanting_to_the_last_picking(summed):
    found = summed()
    days = 12 + 30  # 20 to 31 May, all of June
    assert found.degree_days == pytest.approx((days - 1) * 5.0 + (28.0 - 10.0))
    assert found.rain == pytest.approx((days - 1) * 2.0 + 0.4)


def test_the_single_sine_is_used_where_the_study_says_so(summed):
    found = summed({"degree_days": {"base": 10.0, "method": "single_sine"}})
    plain = found.daily.loc[found.daily["date"] == "2025-06-01", "degree_days"].item()
    assert plain == pytest.approx(6.09, abs=0.005)


def test_cut_offs_typed_in_fahrenheit_are_those_in_celsius(summed):
    celsius = summed().degree_days
    rain = [{**SITES[0], "normal_rain": {}}]
    fahrenheit = {"units": "us", "degree_days": {"base": 50.0, "ceiling": 89.6}, "sites": rain}
    assert summed(fahrenheit).degree_days == pytest.approx(celsius)


def test_the_normal_of_a_part_of_a_month_is_pro_rata(summed):
    found = summed()
    assert found.rain_normal == pytest.approx(62.0 * 12 / 31 + 90.0)
    assert found.rain_departure == pytest.approx(82.4 - 114.0)
    assert found.rain_percent_of_normal == pytest.approx(100 * 82.4 / 114.0)


def test_normals_typed_in_inches_are_millimetres_inside(summed):
    inches = [{**SITES[0], "normal_rain": {5: 1.0, 6: 1.0}}]
    found = summed({"units": "us", "sites": inches})
    assert found.rain_normal == pytest.approx(25.4 * (12 / 31 + 1))


def test_a_month_without_a_normal_is_not_compared_and_named(summed):
    found = summed({"sites": [{**SITES[0], "normal_rain": {6: 90.0}}]})
    assert found.rain_compared == pytest.approx(29 * 2.0 + 0.4)
    assert found.rain_normal == pytest.approx(90.0)
    assert any("No normal rain is declared for May" in text for text in found.words)


def test_wet_and_hot_days_in_bloom_are_counted_from_first_bloom_to_the_last_picking(summed):
    found = summed()
    assert (found.bloom_first, found.bloom_last) == (
        pd.Timestamp("2025-06-20"),
        pd.Timestamp("2025-06-30"),
    )
    assert found.wet_days_in_bloom == 10.0
    assert found.hot_days_in_bloom == 1.0


def test_a_day_with_a_millimetre_is_wet_and_one_with_less_is_not(summed, weather):
    rain = weather["rain"].mask(weather["date"] == "2025-06-22", 1.0)
    rain = rain.mask(weather["date"] == "2025-06-23", 0.9)
    assert summed(weather=weather.assign(rain=rain)).wet_days_in_bloom == 9.0


def test_a_gap_is_shown_with_its_ends_and_left_out_of_the_sums(summed, weather):
    holes = weather["date"].between("2025-06-05", "2025-06-07")
    found = summed(weather=weather[~holes])
    whole = summed()
    assert found.gaps["what"].tolist() == ["temperature", "rain"]
    assert found.gaps["days"].tolist() == [3, 3]
    assert found.gaps["first"].tolist() == [pd.Timestamp("2025-06-05")] * 2
    assert whole.degree_days - found.degree_days == pytest.approx(15.0)
    assert whole.rain_normal - found.rain_normal == pytest.approx(9.0)
    assert any("3 of 42 days" in text and "too low" in text for text in found.words)


def test_days_that_the_station_never_reported_count_as_gaps(summed, weather):
    found = summed(weather=weather[weather["date"] < "2025-06-21"])
    assert found.gaps["last"].tolist() == [pd.Timestamp("2025-06-30")] * 2
    assert found.daily["date"].max() == pd.Timestamp("2025-06-30")


def test_without_weather_there_are_no_numbers_and_one_sentence(summed, weather):
    found = summed(weather=weather.iloc[:0])
    assert np.isnan(found.degree_days)
    assert np.isnan(found.wet_days_in_bloom)
    assert found.words == ("There is no weather on record for this site and season.",)


def test_without_bloom_or_cut_offs_the_words_say_so(summed, events):
    bare = events[events["event"] != "first_bloom"]
    found = summed({"degree_days": None}, events=bare)
    assert np.isnan(found.degree_days)
    assert np.isnan(found.hot_days_in_bloom)
    assert any("No first bloom" in text for text in found.words)
    assert any("declares no [degree_days]" in text for text in found.words)


def earlier(first, last, rain=3.0):
    """Every day of these years: 5 to 25 °C and the same rain."""
    days = pd.date_range(f"{first}-01-01", f"{last}-12-31")
    return pd.DataFrame({"date": days, "tmin": 5.0, "tmax": 25.0, "rain": rain})


@pytest.fixture
def with_years(study, plots, events, harvest, weather):
    """Sum up the weather beside earlier years of the same station."""

    def make(years, **parts):
        bare = {"sites": [{"id": "north", "name": "North Field"}], "degree_days": HEAT}
        tables = {"plots": plots, "events": events, "harvest": harvest, "weather": weather}
        return weather_summary(study(**{**bare, **parts}), 2025, "north", tables, years)

    return make


def test_without_a_stated_normal_the_station_s_own_years_give_it(with_years):
    found = with_years(earlier(2001, 2024))
    assert found.rain_normal == pytest.approx(42 * 3.0)
    assert found.normal_years == 24
    assert any("24 or more earlier years" in text and "takes 30" in text for text in found.words)


def test_thirty_years_need_no_excuse(with_years):
    found = with_years(earlier(1995, 2024))
    assert not any("takes 30" in text for text in found.words)


def test_a_stated_normal_goes_before_the_station_s_years(with_years):
    found = with_years(earlier(2001, 2024), sites=SITES)
    assert found.rain_normal == pytest.approx(62.0 * 12 / 31 + 90.0)
    assert found.normal_years == 0


def test_too_few_years_give_no_normal_and_say_so(with_years):
    found = with_years(earlier(2020, 2024))
    assert np.isnan(found.rain_normal)
    assert np.isnan(found.degree_days_normal)
    assert any("fewer than 10 whole earlier years" in text for text in found.words)


def test_the_usual_degree_days_are_those_of_the_same_days_of_earlier_years(with_years):
    years = earlier(2005, 2024)
    hole = years["date"] == "2010-06-03"
    found = with_years(years.assign(tmax=years["tmax"].mask(hole)))
    assert found.degree_days_normal == pytest.approx(42 * 5.0)
    assert found.degree_days_departure == pytest.approx(13.0)
    assert any("19 earlier years" in text for text in found.words)


def test_limits_of_wet_and_hot_days_are_those_that_study_toml_declares(summed):
    limits = {"wet_day": 2.0, "hot_day": 36.5, "source": "made up"}
    found = summed({"weather_limits": limits})
    assert (found.wet_days_in_bloom, found.hot_days_in_bloom) == (10.0, 0.0)
    wetter = summed({"weather_limits": {**limits, "wet_day": 2.5, "hot_day": 35.0}})
    assert (wetter.wet_days_in_bloom, wetter.hot_days_in_bloom) == (0.0, 1.0)


def test_limits_need_a_source(study):
    with pytest.raises(ValueError, match="say under 'source'"):
        study(weather_limits={"hot_day": 35.0})
