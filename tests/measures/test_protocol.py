import numpy as np
import pandas as pd
import pytest

from trialkit import columns
from trialkit.measures import deviations, timeline

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
OFF = {
    "id": "cover_off",
    "what": "Covers come off at first bloom",
    "treatments": ["cover"],
    "event": "cover_off",
    "after": "first_bloom",
    "within": 2,
}
PLANTED = {
    "id": "mulched",
    "what": "Mulch is laid a week before transplanting",
    "event": "mulch_laid",
    "after": "transplanted",
    "days": -7,
}
WEEKLY = {
    "id": "weekly",
    "what": "Plots are scouted every week",
    "table": "scouting",
    "every_days": 7,
    "within": 2,
}
PICKED = {**WEEKLY, "id": "picked", "what": "Fruit is picked every week", "table": "harvest"}


@pytest.fixture
def departures(study, plots, table):
    """List the departures of a study with one rule from its events (or tables by name)."""

    def make(rule, *events, seasons=None, **tables):
        parts = {"seasons": seasons} if seasons else {}
        happened = table("date plot event", *events)
        every = {"plots": plots, "events": happened, **tables}
        return deviations(study(protocol=[rule], **parts), 2025, "north", every)

    return make


def test_what_went_to_plan_within_the_slack_is_no_deviation(departures):
    blooms = ("2025-06-20", None, "first_bloom")
    assert departures(OFF, blooms, ("2025-06-22", None, "cover_off")).empty


def test_an_event_that_came_late_is_told_with_both_dates_and_the_days(departures):
    found = departures(OFF, ("2025-06-20", None, "first_bloom"), ("2025-06-27", None, "cover_off"))
    assert tuple(found.columns) == columns.DEVIATIONS
    row = found.iloc[0]
    assert (row["treatment"], row["rule"], row["days"]) == ("cover", "cover_off", 7.0)
    assert row["planned"] == "Covers come off at first bloom: 2025-06-20, within 2 days"
    assert row["happened"] == "cover off: 2025-06-27"


def test_plots_that_differ_are_named_and_the_farthest_counts(departures):
    blooms = [("2025-06-20", plot, "first_bloom") for plot in ("v1", "v2")]
    offs = [("2025-06-15", "v1", "cover_off"), ("2025-06-21", "v2", "cover_off")]
    found = departures(OFF, *blooms, *offs)
    assert found["days"].tolist() == [-5.0]
    assert found["happened"].item() == "cover off: 2025-06-15 (1 of 2 plots: v1)"


def test_an_event_never_recorded_is_a_deviation_of_unknown_size(departures):
    found = departures(OFF, ("2025-06-20", None, "first_bloom"))
    assert found["happened"].item() == "no cover off on record"
    assert np.isnan(found["days"].item())


def test_without_the_event_before_it_a_rule_cannot_be_judged(departures):
    found = departures(OFF, ("2025-06-20", None, "cover_off"))
    assert found["planned"].item() == ("Covers come off at first bloom (no first bloom on record)")
    assert found["happened"].item() == "cover off: 2025-06-20"


def test_of_an_event_that_happened_twice_the_nearest_to_the_plan_counts(departures):
    weeding = ("2025-06-01", "v1", "cover_off")
    blooms = ("2025-06-20", None, "first_bloom")
    offs = [("2025-06-20", plot, "cover_off") for plot in ("v1", "v2")]
    assert departures(OFF, blooms, weeding, *offs).empty


def test_a_rule_for_all_that_all_broke_alike_is_one_row(departures):
    found = departures(
        PLANTED, ("2025-05-20", None, "transplanted"), ("2025-05-18", None, "mulch_laid")
    )
    assert found[["treatment", "days"]].to_numpy().tolist() == [["", 5.0]]


def test_while_a_season_runs_nothing_is_missing_before_it_is_due(departures, running):
    blooms = ("2025-06-20", None, "first_bloom")
    due = ("2025-06-23", "c1", "transplanted")
    assert departures(OFF, blooms, seasons=running).empty
    assert departures(OFF, seasons=running).empty
    assert len(departures(OFF, blooms, due, seasons=running)) == 1


@pytest.fixture
def counts(scouting):
    """Scout every plot on the given days of June, v1 without those of ``skipped``."""

    def make(*days, skipped=()):
        dates = {day: f"2025-06-{day:02d}" for day in days}
        return scouting(
            {
                plot: {
                    date: [1] for day, date in dates.items() if plot != "v1" or day not in skipped
                }
                for plot in PLOTS
            }
        )

    return make


def test_weeks_within_the_slack_are_no_gap(departures, counts):
    assert departures(WEEKLY, scouting=counts(2, 9, 18)).empty


def test_a_skipped_week_of_the_whole_site_is_one_row(departures, counts):
    found = departures(WEEKLY, scouting=counts(2, 16, 23))
    assert found["treatment"].tolist() == [""]
    assert found["happened"].item() == "no count between 2025-06-02 and 2025-06-16: 14 days"
    assert found["days"].item() == 7.0


def test_a_skipped_week_of_one_plot_names_treatment_and_plot(departures, counts):
    found = departures(WEEKLY, scouting=counts(2, 9, 16, skipped=(9,)))
    assert found["treatment"].tolist() == ["cover"]
    assert found["happened"].item().endswith("14 days (1 of 2 plots: v1)")


def test_a_plot_without_ripe_fruit_is_no_missed_picking(departures, table):
    rows = [
        (f"2025-07-{day:02d}", plot, "marketable", 1, 0.2)
        for day in (1, 8, 15)
        for plot in PLOTS
        if (plot, day) != ("v1", 8)
    ]
    assert departures(PICKED, harvest=table("date plot grade fruit weight", *rows)).empty


def test_a_finished_season_without_any_picking_departs_from_the_rule(departures, running):
    found = departures(PICKED)
    assert found[["treatment", "happened"]].to_numpy().tolist() == [["", "no picking on record"]]
    assert departures(PICKED, seasons=running).empty


def test_the_timeline_holds_window_and_dates_of_each_rule_and_treatment(
    study, plots, table, counts
):
    events = table(
        "date plot event",
        ("2025-06-20", "v1", "first_bloom"),
        ("2025-06-24", "v2", "first_bloom"),
        ("2025-06-22", "v1", "cover_off"),
        ("2025-06-30", "v2", "cover_off"),
    )
    tables = {"plots": plots, "events": events, "scouting": counts(2, 9, 20)}
    found = timeline(study(protocol=[OFF, WEEKLY]), 2025, "north", tables)
    off = found[found["rule"] == "cover_off"].iloc[0]
    dates = off[["planned_first", "planned_last", "happened_first", "happened_last"]]
    assert [date.day for date in dates] == [18, 26, 22, 30]
    assert not off["kept"]
    visits = found[(found["rule"] == "weekly") & (found["treatment"] == "check")]
    assert visits["kept"].tolist() == [True, True, False]
    assert visits["planned_last"].iloc[1] == pd.Timestamp("2025-06-11")


def test_what_is_not_due_yet_is_kept_in_the_timeline_and_has_no_date(study, plots, table, running):
    events = table(
        "date plot event", ("2025-06-20", None, "first_bloom"), ("2025-06-21", "c1", "mown")
    )
    described = study(protocol=[OFF], seasons=running)
    tables = {"plots": plots, "events": events}
    (row,) = timeline(described, 2025, "north", tables).to_dict("records")
    assert (row["kept"], pd.isna(row["happened_first"])) == (True, True)
    later = table(
        "date plot event", ("2025-06-20", None, "first_bloom"), ("2025-06-23", "c1", "mown")
    )
    (row,) = timeline(described, 2025, "north", {**tables, "events": later}).to_dict("records")
    assert (row["kept"], pd.isna(row["happened_first"])) == (False, True)


def test_a_rule_of_which_nothing_is_known_yet_has_no_row(study, plots, table, running):
    described = study(protocol=[OFF], seasons=running)
    events = table("date plot event", ("2025-05-20", None, "transplanted"))
    assert timeline(described, 2025, "north", {"plots": plots, "events": events}).empty
