"""Dates: one reading is read, two readings are asked about with a proposal where it is due."""

import datetime as dt

import pytest

from trialkit.intake.dates import read_dates
from trialkit.study import Season

SEASON = Season(year=2026, first_date=dt.date(2026, 5, 1), last_date=dt.date(2026, 9, 30))


@pytest.mark.parametrize(
    ("text", "date"),
    [
        ("2026-06-05", dt.date(2026, 6, 5)),
        ("2026-6-5", dt.date(2026, 6, 5)),
        ("2026/06/05", dt.date(2026, 6, 5)),
        ("20260605", dt.date(2026, 6, 5)),
        ("2026-06-05 14:30", dt.date(2026, 6, 5)),
        ("25.6.2026", dt.date(2026, 6, 25)),
        ("6/25/2026", dt.date(2026, 6, 25)),
        ("06/06/2026", dt.date(2026, 6, 6)),
        ("5 June 2026", dt.date(2026, 6, 5)),
        ("June 5, 2026", dt.date(2026, 6, 5)),
    ],
)
def test_text_with_one_reading_is_that_date(text, date):
    assert read_dates([text], SEASON)[0].date == date


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("2026-02-30", "impossible_date"),
        ("30/02/2026", "impossible_date"),
        ("2026-00-10", "impossible_date"),
        ("0000-01-01", "impossible_date"),
        ("5.6.26", "ambiguous_date"),
        ("46178", "not_a_date"),
        ("June", "not_a_date"),
        ("2026", "not_a_date"),
        ("２０２６-06-05", "not_a_date"),
    ],
)
def test_text_that_is_no_date_says_why(text, code):
    reading = read_dates([text], SEASON)[0]
    assert (reading.date, reading.code) == (None, code)


def test_reading_in_season_is_proposed():
    reading = read_dates(["06/12/2026"], SEASON)[0]
    assert reading.what == "'06/12/2026' can be read as 2026-12-06 or as 2026-06-12"
    assert reading.remedy == "Type 2026-06-12 if that is meant: the other reading is out of season"


def test_reading_that_other_dates_share_is_proposed():
    assert "Type 2026-07-06" in read_dates(["07/06/2026", "2026-07-06"], SEASON)[0].remedy
    assert "put the day first" in read_dates(["07/06/2026", "25/07/2026"], SEASON)[0].remedy


def test_nothing_is_proposed_where_nothing_speaks_for_one_reading():
    remedy = read_dates(["07/06/2026"], SEASON)[0].remedy
    assert remedy == "Type it as year-month-day, such as 2026-05-31"


def test_nothing_is_proposed_where_the_evidence_disagrees():
    texts = ["07/06/2026", "2026-07-06", "25/07/2026"]
    assert "such as 2026-05-31" in read_dates(texts, SEASON)[0].remedy


def test_day_number_is_turned_into_the_date_it_would_be():
    # Day 1 of the 1900 date system is 1900-01-01, with the leap day 1900-02-29 counted
    # (ECMA-376 part 1, 18.17.4.1), so that 45658 is 2025-01-01.
    assert "2025-01-01" in read_dates(["45658"], SEASON)[0].remedy
