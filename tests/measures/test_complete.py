import pandas as pd
import pytest

from trialkit.measures import last_complete, plot_values

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
DAYS = {"kind": "insect_days", "organism": "beetle"}
WHOLE = {"2025-06-02": [1], "2025-06-09": [1]}


@pytest.fixture
def half_typed(scouting):
    """Two whole rounds, and a third of which only two plots are typed in."""
    more = {**WHOLE, "2025-06-16": [9]}
    return scouting({plot: more if plot in ("c1", "v1") else WHOLE for plot in PLOTS})


def test_a_finished_season_reaches_to_its_last_date_and_says_nothing(study, plots, half_typed):
    until = last_complete(study(DAYS), 2025, "north", {"plots": plots, "scouting": half_typed})
    assert until.dates["scouting"] == pd.Timestamp("2025-06-16")
    assert until.words == ""


def test_a_running_season_reaches_to_the_last_round_of_every_plot(
    study, plots, half_typed, running
):
    tables = {"plots": plots, "scouting": half_typed}
    until = last_complete(study(DAYS, seasons=running), 2025, "north", tables)
    assert until.dates["scouting"] == pd.Timestamp("2025-06-09")
    assert "The 2025 season at North Field is still running." in until.words
    assert "The round of 2025-06-16 still lacks 4 plots." in until.words


def test_measures_of_a_running_season_stop_at_the_last_complete_date(
    study, plots, half_typed, running
):
    tables = {"plots": plots, "scouting": half_typed}
    found = plot_values(study(DAYS, seasons=running), 2025, "north", tables)
    assert (found["value"] == 7.0).all()


def test_a_lost_plot_does_not_hold_a_round_open(study, plots, half_typed, running):
    lost = plots.assign(lost=["", "", "hail", "hail", "hail", "hail"])
    tables = {"plots": lost, "scouting": half_typed}
    until = last_complete(study(DAYS, seasons=running), 2025, "north", tables)
    assert until.dates["scouting"] == pd.Timestamp("2025-06-16")


def test_before_the_first_whole_round_nothing_is_analysed(study, plots, scouting, running):
    tables = {"plots": plots, "scouting": scouting({"c1": WHOLE})}
    going = study(DAYS, seasons=running)
    assert last_complete(going, 2025, "north", tables).dates["scouting"] is None
    found = plot_values(going, 2025, "north", tables)
    assert (found["left_out"] == "no complete round of counts yet").all()


def test_a_picking_is_complete_when_every_bearing_plot_was_picked(study, plots, table, running):
    rows = [
        (date, plot, "marketable", 1, 1.0)
        for date, picked in (("2025-07-01", ("c1", "c2")), ("2025-07-08", ("c1",)))
        for plot in picked
    ]
    tables = {"plots": plots, "harvest": table("date plot grade fruit weight", *rows)}
    going = study({"kind": "marketable_yield"}, seasons=running)
    until = last_complete(going, 2025, "north", tables)
    assert until.dates["harvest"] == pd.Timestamp("2025-07-01")
    values = plot_values(going, 2025, "north", tables).set_index("plot")["value"]
    assert values["c1"] == pytest.approx(0.2)
