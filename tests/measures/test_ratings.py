import pytest

PLOTS = ("c1", "v1", "m1", "c2", "v2", "m2")
DATES = ("2025-06-01", "2025-06-03", "2025-06-06", "2025-06-07")


@pytest.fixture
def ratings(table):
    def make(*more, scores=(1, 2, 7, 7.5), leaving=()):
        rows = [
            (date, plot, "holes", score)
            for plot in PLOTS
            if plot not in leaving
            for date, score in zip(DATES, scores, strict=True)
        ]
        return table("date plot what score", *rows, *more)

    return make


def test_the_damage_curve_of_the_teaching_example_is_23_75_score_days(
    study, plots, ratings, measured
):
    # Source: a plant-pathology society's teaching page (1, 2, 7, 7.5 at days 0, 2, 5, 6).
    curve = {"kind": "damage_curve", "rating": "holes"}
    found = measured(study(curve), plots=plots, ratings=ratings())
    assert (found["value"] == 23.75).all()


def test_two_scores_of_one_date_are_averaged(study, plots, ratings, measured):
    curve = {"kind": "damage_curve", "rating": "holes"}
    rows = ratings((DATES[0], "c1", "holes", 3))
    found = measured(study(curve), plots=plots, ratings=rows)
    assert found.loc["c1", "value"] == pytest.approx(23.75 + 0.5 * 2)


def test_the_final_score_is_that_of_the_last_visit(study, plots, ratings, measured):
    last = {"kind": "final_score", "rating": "holes"}
    found = measured(study(last), plots=plots, ratings=ratings(leaving=("m2",)))
    assert found.loc["c1", "value"] == 7.5
    assert found.loc["m2", "left_out"] == "never scored for leaf holes"


def test_a_plot_without_a_score_at_the_end_has_no_final_score(study, plots, ratings, measured):
    rows = ratings(leaving=("m2",), scores=(1, 2, 3, 4))
    early = rows[(rows["plot"] != "c1") | (rows["date"] < "2025-06-05")]
    last = {"kind": "final_score", "rating": "holes"}
    found = measured(study(last), plots=plots, ratings=early)
    assert "scored only from 2025-06-01 to 2025-06-03" in found.loc["c1", "left_out"]
