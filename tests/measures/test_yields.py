import numpy as np
import pytest

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
HEADER = "date plot grade cull_cause fruit weight"
PICKINGS = ("2025-07-01", "2025-07-08", "2025-07-15")


@pytest.fixture
def harvest(table):
    """Every plot bears 2 marketable fruit of 0.5 kg in all and a rotten one at each picking."""

    def make(*more, leaving=()):
        rows = [
            row
            for date in PICKINGS
            for plot in PLOTS
            for row in (
                (date, plot, "marketable", None, 2, 0.5),
                (date, plot, "cull", "rot", 1, 0.2),
            )
            if plot not in leaving
        ]
        return table(HEADER, *rows, *more)

    return make


def test_marketable_yield_is_kg_per_square_metre_without_culls(study, plots, harvest, measured):
    found = measured(study({"kind": "marketable_yield"}), plots=plots, harvest=harvest())
    assert found["value"].tolist() == pytest.approx([1.5 / 5.0] * 6)


def test_yield_and_fruit_per_plant_count_the_plants_of_the_plot(study, plots, harvest, measured):
    weight = measured(study({"kind": "marketable_per_plant"}), plots=plots, harvest=harvest())
    fruit = measured(study({"kind": "fruit_number"}), plots=plots, harvest=harvest())
    assert weight.loc["c1", "value"] == pytest.approx(0.15)
    assert fruit.loc["c1", ["value", "events", "exposure"]].tolist() == [0.6, 6.0, 10.0]


def test_early_yield_takes_the_first_pickings_of_the_site_not_of_the_plot(
    study, plots, harvest, measured
):
    late = (PICKINGS[2], "v1", "marketable", None, 2, 0.5)
    rows = harvest(late, leaving=("v1",))
    early = {"kind": "early_yield", "pickings": 2}
    found = measured(study(early), plots=plots, harvest=rows)
    assert found.loc["c1", "value"] == pytest.approx(1.0 / 5.0)
    assert found.loc["v1", "value"] == 0.0
    assert found.loc["v1", "left_out"] == ""


def test_mean_fruit_weight_is_weight_over_fruit_of_marketable_rows(study, plots, harvest, measured):
    found = measured(study({"kind": "mean_fruit_weight"}), plots=plots, harvest=harvest())
    assert found.loc["c1", "value"] == pytest.approx(0.25)


def test_a_plot_without_rows_is_left_out_but_one_with_a_zero_is_a_zero(
    study, plots, harvest, measured
):
    zero = (PICKINGS[0], "v2", "marketable", None, 0, np.nan)
    rows = harvest(zero, leaving=("v1", "v2"))
    found = measured(study({"kind": "marketable_yield"}), plots=plots, harvest=rows)
    assert "no picking on record" in found.loc["v1", "left_out"]
    assert np.isnan(found.loc["v1", "value"])
    assert (found.loc["v2", "value"], found.loc["v2", "left_out"]) == (0.0, "")


def test_a_plot_that_bore_culls_only_has_a_marketable_yield_of_zero(
    study, plots, harvest, measured
):
    rows = harvest((PICKINGS[0], "v1", "cull", "sun", 3, 0.4), leaving=("v1",))
    found = measured(study({"kind": "marketable_yield"}), plots=plots, harvest=rows)
    assert (found.loc["v1", "value"], found.loc["v1", "left_out"]) == (0.0, "")
    weight = measured(study({"kind": "mean_fruit_weight"}), plots=plots, harvest=rows)
    assert "no marketable fruit" in weight.loc["v1", "left_out"]


def test_a_missing_weight_takes_the_plot_out_because_the_sum_would_be_too_low(
    study, plots, harvest, measured
):
    rows = harvest(("2025-07-22", "c1", "marketable", None, 4, np.nan))
    found = measured(study({"kind": "marketable_yield"}), plots=plots, harvest=rows).loc["c1"]
    assert found["left_out"] == "the weight of the picking of 2025-07-22 is missing"
    assert np.isnan(found["value"])
    fruit = measured(study({"kind": "fruit_number"}), plots=plots, harvest=rows).loc["c1"]
    assert fruit["events"] == 10.0


def test_a_plot_without_an_area_has_no_yield_per_area(study, plots, harvest, measured):
    bare = plots.assign(area=plots["area"].where(plots["plot"] != "m2"))
    found = measured(study({"kind": "marketable_yield"}), plots=bare, harvest=harvest())
    assert found.loc["m2", "left_out"] == "the plots table does not give its area"


def test_culls_are_a_share_of_all_fruit_whole_or_by_cause(study, plots, harvest, measured):
    rows = harvest((PICKINGS[0], "c1", "cull", "sun", 3, 0.4))
    whole = measured(study({"kind": "cull_percent"}), plots=plots, harvest=rows).loc["c1"]
    assert whole[["events", "trials", "value"]].tolist() == [6.0, 12.0, 50.0]
    by_cause = {"kind": "cull_percent", "cull_cause": "sun"}
    sun = measured(study(by_cause), plots=plots, harvest=rows)
    assert sun.loc["c1", ["events", "trials", "value"]].tolist() == [3.0, 12.0, 25.0]
    assert sun.loc["c2", ["events", "trials", "value"]].tolist() == [0.0, 9.0, 0.0]


def test_a_plot_that_bore_no_fruit_has_no_share_of_culls(study, plots, harvest, measured):
    rows = harvest((PICKINGS[0], "v1", "marketable", None, 0, 0.0), leaving=("v1",))
    found = measured(study({"kind": "cull_percent"}), plots=plots, harvest=rows).loc["v1"]
    assert found["left_out"] == "no fruit was picked, or none was counted"


def test_target_size_is_typed_in_inches_where_the_study_is_in_us_units(
    study, plots, table, measured
):
    size = {"kind": "target_size_share", "size_column": "length", "size_from": 6, "size_to": 8}
    inches = (5.9, 6.0, 7.0, 8.0, 8.1)  # 6 to 8 inches: common practice, no source
    rows = [("2025-07-01", plot, 25.4 * inch) for plot in PLOTS[:5] for inch in inches]
    sizes = table("date plot length", *rows)
    found = measured(study(size, units="us"), plots=plots, fruit_sizes=sizes)
    assert found.loc["c1", ["events", "trials", "value"]].tolist() == [3.0, 5.0, 60.0]
    assert found.loc["m2", "left_out"] == "the length of no fruit was measured"
