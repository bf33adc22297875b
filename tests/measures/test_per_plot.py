import pandas as pd

from trialkit import columns
from trialkit.measures import curve, grades, left_out, notes, plot_values
from trialkit.measures.per_plot import KIND_FUNCTIONS
from trialkit.study import KINDS

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
DAYS = {"kind": "insect_days", "organism": "beetle"}
MEAN = {"kind": "season_mean", "organism": "beetle"}
YIELD = {"kind": "marketable_yield"}
JUNE = ("2025-06-02", "2025-06-09", "2025-06-16", "2025-06-23", "2025-06-30")
NEEDED = {
    "organism": "beetle",
    "rating": "holes",
    "threshold": 2.0,
    "pickings": 2,
    "size_column": "length",
    "size_from": 1.0,
    "size_to": 2.0,
}


def _steady():
    return {plot: {date: [1, 3] for date in JUNE} for plot in PLOTS}


def test_every_kind_of_the_study_has_a_function():
    assert set(KIND_FUNCTIONS) == set(KINDS)


def test_every_kind_gives_a_row_per_plot_and_a_reason_where_there_are_no_tables(study, plots):
    measures = [
        {"kind": kind, **{need: NEEDED[need] for need in KINDS[kind].needs}} for kind in KINDS
    ]
    found = plot_values(study(*measures), 2025, "north", {"plots": plots})
    assert tuple(found.columns) == columns.PLOT_VALUES
    assert len(found) == len(KINDS) * len(plots)
    assert found["value"].isna().all()
    assert (found["left_out"].str.len() > 10).all()


def test_a_count_is_events_over_exposure(study, plots, scouting):
    tables = {"plots": plots, "scouting": scouting(_steady())}
    found = plot_values(study(MEAN), 2025, "north", tables)
    pd.testing.assert_series_equal(
        found["value"], found["events"] / found["exposure"], check_names=False
    )


def test_the_order_of_rows_changes_nothing(study, plots, scouting):
    rows = scouting(_steady())
    tables = {"plots": plots, "scouting": rows}
    mixed = {"plots": plots, "scouting": rows.sample(frac=1, random_state=1)}
    wanted = study(DAYS, MEAN)
    pd.testing.assert_frame_equal(
        plot_values(wanted, 2025, "north", tables), plot_values(wanted, 2025, "north", mixed)
    )


def test_a_lost_plot_is_listed_by_measure_and_a_missing_table_once(study, plots, scouting):
    lost = plots.assign(lost=["flooded", None, None, None, None, None])
    tables = {"plots": lost, "scouting": scouting(_steady())}
    found = left_out(plot_values(study(DAYS, YIELD), 2025, "north", tables))
    assert tuple(found.columns) == columns.LEFT_OUT
    rows = sorted(found[["plot", "measure", "reason"]].itertuples(index=False, name=None))
    assert [row[:2] for row in rows] == [
        ("all plots", "marketable_yield"),
        ("c1", "insect_days"),
        ("c1", "marketable_yield"),
    ]
    assert rows[1][2] == "plot lost: flooded"


def test_a_sum_that_misses_a_row_of_the_file_is_left_out_but_a_mean_is_kept_with_a_note(
    study, plots, scouting, table
):
    harvest = [("2025-07-01", plot, "marketable", 2, 0.5) for plot in PLOTS]
    tables = {
        "plots": plots,
        "scouting": scouting(_steady()),
        "harvest": table("date plot grade fruit weight", *harvest),
    }
    rows = [
        ("harvest", 9, "c1", "negative"),
        ("harvest", 12, "c1", "negative"),
        ("harvest", 10, "v1", "duplicate_row"),
        ("scouting", 4, "m1", "fractional"),
    ]
    dropped = pd.DataFrame(rows, columns=["table", "row", "plot", "code"])
    wanted = study(DAYS, YIELD)
    values = plot_values(wanted, 2025, "north", tables, dropped)
    out = left_out(values)
    assert out[["measure", "plot"]].to_numpy().tolist() == [["marketable_yield", "c1"]]
    assert out["reason"].item().startswith("rows 9, 12 of harvest could not be used")
    told = notes(wanted, 2025, "north", tables, dropped)
    assert told[["measure", "plot"]].to_numpy().tolist() == [["insect_days", "m1"]]
    assert values.set_index(["measure", "plot"]).loc[("insect_days", "m1"), "value"] == 56.0


def test_a_bridged_gap_is_noted(study, plots, scouting):
    counts = _steady()
    counts["c1"] = {date: [1, 3] for date in (JUNE[0], JUNE[1], JUNE[4])}
    tables = {"plots": plots, "scouting": scouting(counts)}
    found = notes(study(DAYS), 2025, "north", tables)
    assert list(found["plot"]) == ["c1"]
    assert "not scouted for 21 days (usually 7)" in found["note"].iloc[0]


def test_a_gap_of_every_plot_is_noted_once(study, plots, scouting):
    counts = {plot: {d: [1] for d in (*JUNE[:3], JUNE[4])} for plot in PLOTS}
    tables = {"plots": plots, "scouting": scouting(counts)}
    found = notes(study(DAYS), 2025, "north", tables)
    assert found[["measure", "plot"]].to_numpy().tolist() == [["insect_days", "all plots"]]


def test_the_curve_is_the_mean_per_plant_by_plot_date_and_stage(study, plots, scouting):
    rows = pd.concat([scouting(_steady()), scouting(_steady(), stage="larva")])
    found = curve(study(DAYS), {"plots": plots, "scouting": rows})
    assert tuple(found.columns) == columns.CURVE
    assert len(found) == len(PLOTS) * len(JUNE) * 2
    assert (found["mean_count"] == 2.0).all()
    assert (found["plants"] == 2).all()


def test_grades_add_up_by_cause_up_to_a_date(study, plots, table):
    rows = [
        (date, "c1", grade, cause, 2, 0.5)
        for date in ("2025-07-01", "2025-07-08")
        for grade, cause in (("marketable", None), ("cull", "rot"))
    ]
    tables = {"plots": plots, "harvest": table("date plot grade cull_cause fruit weight", *rows)}
    found = grades(study(YIELD), tables).set_index("cull_cause")
    assert found.loc[["", "rot"], "fruit"].tolist() == [4.0, 4.0]
    assert found.loc["rot", "treatment"] == "check"
    early = grades(study(YIELD), tables, until=pd.Timestamp("2025-07-01"))
    assert early["weight"].tolist() == [0.5, 0.5]
