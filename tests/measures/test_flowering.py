import pandas as pd
import pytest

from trialkit.measures import bloom, bloom_spans

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
FIRST = {"kind": "days_to_first_bloom"}


@pytest.fixture
def events(table):
    def make(*more, leaving=(), planted=True):
        whole = [("2025-05-20", None, "transplanted")] if planted else []
        own = [("2025-06-24", plot, "first_bloom") for plot in PLOTS if plot not in leaving]
        return table("date plot event", *whole, *own, *more)

    return make


def test_days_to_bloom_run_from_transplanting(study, plots, events, measured):
    found = measured(study(FIRST), plots=plots, events=events())
    assert found["value"].tolist() == [35.0] * 6


def test_a_plots_own_transplanting_goes_before_that_of_the_site(study, plots, events, measured):
    rows = events(("2025-05-27", "c1", "transplanted"))
    found = measured(study(FIRST), plots=plots, events=rows)
    assert found.loc["c1", "value"] == 28.0


def test_bloom_recorded_for_the_whole_site_tells_plots_apart_in_nothing(
    study, plots, events, measured
):
    rows = events(("2025-06-24", None, "first_bloom"), leaving=PLOTS)
    found = measured(study(FIRST), plots=plots, events=rows)
    assert found["left_out"].str.contains("not plot by plot").all()


def test_without_bloom_or_transplanting_on_record_the_reason_says_which(
    study, plots, events, measured
):
    found = measured(study(FIRST), plots=plots, events=events(leaving=("m1",)))
    assert found.loc["m1", "left_out"] == "no first bloom on record"
    found = measured(study(FIRST), plots=plots, events=events(planted=False))
    assert (found["left_out"] == "no transplanting on record").all()


def test_while_a_season_runs_plots_not_yet_in_bloom_hold_back_their_treatment(
    study, plots, events, measured, running
):
    found = measured(study(FIRST, seasons=running), plots=plots, events=events(leaving=("m1",)))
    assert "more than 35 days" in found.loc["m1", "left_out"]
    assert "on 1 of the 2 plots of its treatment" in found.loc["m2", "left_out"]
    assert (found.loc[["c1", "v2"], "left_out"] == "").all()


def test_bloom_lists_dates_by_standing_plot(study, plots, events):
    lost = plots.assign(lost=plots["lost"].astype(object).where(plots["plot"] != "v1", "flooded"))
    found = bloom(study(FIRST), 2025, "north", {"plots": lost, "events": events()})
    assert list(found["plot"]) == ["c1", "m1", "c2", "v2", "m2"]
    assert (found["transplanted"] == pd.Timestamp("2025-05-20")).all()
    assert found["half_bloom"].isna().all()


def test_bloom_spans_run_from_the_first_plots_flower_to_the_last_picking(
    study, plots, events, table, running
):
    rows = events(("2025-06-20", "v1", "first_bloom"), ("2025-08-20", "m1", "last_bloom"))
    harvest = table("date plot grade fruit weight", ("2025-08-30", "c1", "marketable", 1, 0.2))
    tables = {"plots": plots, "events": rows, "harvest": harvest}
    found = bloom_spans(study(FIRST), 2025, "north", tables).set_index("treatment")
    assert found.loc["cover"].tolist() == [pd.Timestamp("2025-06-20"), pd.Timestamp("2025-08-30")]
    assert found.loc["mulch", "end"] == pd.Timestamp("2025-08-20")
    going = bloom_spans(study(FIRST, seasons=running), 2025, "north", tables)
    assert going.set_index("treatment")["end"].isna().tolist() == [True, True, False]
