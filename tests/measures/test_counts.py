import numpy as np
import pandas as pd
import pytest

JUNE = ("2025-06-02", "2025-06-09", "2025-06-16")
PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
DAYS = {"kind": "insect_days", "organism": "beetle", "stage": "adult"}


def _steady(**counts):
    """Two plants with 1 beetle each in every plot on every date, unless counts say otherwise."""
    return {plot: counts.get(plot, {date: [1, 1] for date in JUNE}) for plot in PLOTS}


def test_insect_days_are_the_trapezoid_of_the_mean_per_plant(study, plots, scouting, measured):
    c1 = {JUNE[0]: [0, 2], JUNE[1]: [3, 5], JUNE[2]: [0, 0]}  # means 1, 4, 0
    found = measured(study(DAYS), plots=plots, scouting=scouting(_steady(c1=c1)))
    assert found.loc["c1", "value"] == pytest.approx(7 * (1 + 4) / 2 + 7 * (4 + 0) / 2)
    assert found.loc["m2", "value"] == pytest.approx(14.0)
    assert (found["left_out"] == "").all()
    assert found["exposure"].isna().all()


def test_doubling_counts_and_shuffling_rows_doubles_every_plot(study, plots, scouting, measured):
    rng = np.random.default_rng(7)
    rows = scouting({p: {d: list(rng.integers(0, 9, 4)) for d in JUNE} for p in PLOTS})
    twice = rows.assign(count=2 * rows["count"]).sample(frac=1, random_state=3)
    once = measured(study(DAYS), plots=plots, scouting=rows)["value"]
    found = measured(study(DAYS), plots=plots, scouting=twice)["value"]
    pd.testing.assert_series_equal(found, 2 * once)


def test_stages_of_a_plant_add_up_unless_the_measure_names_one(study, plots, scouting, measured):
    adults, larvae = scouting(_steady()), scouting(_steady(), stage="larva")
    both = pd.concat([adults, larvae], ignore_index=True)
    mean = {"kind": "season_mean", "organism": "beetle"}
    assert (measured(study(mean), plots=plots, scouting=both)["value"] == 2.0).all()
    one = measured(study({**mean, "stage": "larva"}), plots=plots, scouting=both)
    assert (one["value"] == 1.0).all()


def test_an_empty_count_is_not_a_zero(study, plots, scouting, measured):
    c1 = {JUNE[0]: [4, np.nan], JUNE[1]: [4, 4], JUNE[2]: [4, 4]}
    mean = {"kind": "season_mean", "organism": "beetle"}
    found = measured(study(mean), plots=plots, scouting=scouting(_steady(c1=c1))).loc["c1"]
    assert (found["value"], found["events"], found["exposure"]) == (4.0, 20.0, 5.0)


def test_a_count_of_the_whole_plot_is_shared_among_its_plants(study, plots, scouting, measured):
    rows = scouting({plot: {date: [30] for date in JUNE} for plot in PLOTS}).assign(plant=np.nan)
    mean = {"kind": "season_mean", "organism": "beetle"}
    found = measured(study(mean), plots=plots, scouting=rows)
    assert (found["value"] == 3.0).all()
    assert (found["exposure"] == 30).all()
    share = {"kind": "percent_infested", "organism": "beetle"}
    unknown = measured(study(share), plots=plots, scouting=rows)
    assert unknown["left_out"].str.contains("whole plots, not of single plants").all()


def test_without_the_number_of_plants_a_whole_plot_count_is_left_out(
    study, plots, scouting, measured
):
    rows = scouting({plot: {date: [30] for date in JUNE} for plot in PLOTS}).assign(plant=np.nan)
    bare = plots.assign(plants=plots["plants"].where(plots["plot"] != "c1"))
    found = measured(study(DAYS), plots=bare, scouting=rows)
    assert "number of plants is missing" in found.loc["c1", "left_out"]
    assert found.loc["c2", "left_out"] == ""


def test_the_peak_is_the_highest_visit_mean_with_what_was_counted_then(
    study, plots, scouting, measured
):
    c1 = {JUNE[0]: [0, 2], JUNE[1]: [3, 5], JUNE[2]: [0, 0]}
    peak = {"kind": "peak_count", "organism": "beetle"}
    found = measured(study(peak), plots=plots, scouting=scouting(_steady(c1=c1))).loc["c1"]
    assert (found["value"], found["events"], found["exposure"]) == (4.0, 8.0, 2.0)


def test_percent_infested_counts_plants_with_any(study, plots, scouting, measured):
    c1 = {JUNE[0]: [0, 2], JUNE[1]: [3, 5], JUNE[2]: [0, 0]}
    share = {"kind": "percent_infested", "organism": "beetle"}
    found = measured(study(share), plots=plots, scouting=scouting(_steady(c1=c1))).loc["c1"]
    assert (found["events"], found["trials"]) == (3.0, 6.0)
    assert found["value"] == 50.0


def test_a_skipped_visit_is_bridged_over_the_plots_own_dates(study, plots, scouting, measured):
    c1 = {JUNE[0]: [2, 2], JUNE[2]: [4, 4]}
    found = measured(study(DAYS), plots=plots, scouting=scouting(_steady(c1=c1))).loc["c1"]
    assert found["value"] == pytest.approx(14 * 3.0)
    assert found["left_out"] == ""


def test_a_plot_that_misses_the_end_of_the_season_is_left_out(study, plots, scouting, measured):
    c1 = {JUNE[0]: [2, 2], JUNE[1]: [4, 4]}
    found = measured(study(DAYS), plots=plots, scouting=scouting(_steady(c1=c1))).loc["c1"]
    assert "only from 2025-06-02 to 2025-06-09" in found["left_out"]


def test_a_visit_that_few_plots_had_does_not_lengthen_their_season(
    study, plots, scouting, measured
):
    c1 = {date: [1, 1] for date in (*JUNE, "2025-06-23")}
    found = measured(study(DAYS), plots=plots, scouting=scouting(_steady(c1=c1)))
    assert found.loc["c1", "value"] == found.loc["c2", "value"] == 14.0


def test_a_lost_plot_and_a_plot_never_scouted_say_so(study, plots, scouting, measured):
    lost = plots.assign(lost=plots["lost"].astype(object).where(plots["plot"] != "v1", "flooded"))
    rows = scouting({plot: dates for plot, dates in _steady().items() if plot != "m1"})
    found = measured(study(DAYS), plots=lost, scouting=rows)
    assert found.loc["v1", "left_out"] == "plot lost: flooded"
    assert found.loc["m1", "left_out"] == "never scouted for beetles, stage adult"
    assert found.loc[["v1", "m1"], "value"].isna().all()


def test_without_a_scouting_table_every_plot_is_left_out(study, plots, measured):
    found = measured(study(DAYS), plots=plots)
    assert (found["left_out"] == "never scouted for beetles, stage adult").all()


@pytest.fixture
def planted(table):
    return table("date plot event", ("2025-05-26", None, "transplanted"))


THRESHOLD = {"kind": "days_to_threshold", "organism": "beetle", "threshold": 2.0}
RISING = {JUNE[0]: [0, 2], JUNE[1]: [2, 2], JUNE[2]: [4, 4]}


def test_days_to_the_threshold_run_from_transplanting_to_the_first_visit_at_it(
    study, plots, scouting, planted, measured
):
    rows = scouting(dict.fromkeys(PLOTS, RISING))
    found = measured(study(THRESHOLD), plots=plots, scouting=rows, events=planted)
    assert (found["value"] == 14.0).all()


def test_a_plot_that_never_passes_takes_its_treatment_out_of_the_analysis(
    study, plots, scouting, planted, measured
):
    rows = scouting({**dict.fromkeys(PLOTS, RISING), "v1": {date: [0, 0] for date in JUNE}})
    found = measured(study(THRESHOLD), plots=plots, scouting=rows, events=planted)
    assert "more than 21 days, not known how many (censored)" in found.loc["v1", "left_out"]
    assert "on 1 of the 2 plots of its treatment" in found.loc["v2", "left_out"]
    assert np.isnan(found.loc["v1", "value"])
    assert (found.loc[["c1", "c2", "m1", "m2"], "left_out"] == "").all()
