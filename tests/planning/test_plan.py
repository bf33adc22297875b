"""A study planned in one go, from nothing and with data."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import StudyError
from trialkit.planning import Known, Seen, SoFar, Stamp, make_plan, plan
from trialkit.planning.randomise import randomise
from trialkit.study import Assumption

STAMP = Stamp(dt.date(2026, 5, 1), "9.9")
PLACE = (2026, "alder_bench")
LAYOUT = """
scouting_days = [5, 12]
picking_days = [62]
reach = { blocks = 4, sites = 2, seasons = 1 }
expected_days = { first_bloom = 40 }
costs = { plot = 40, site = 300 }
[[layout.plantings]]
season = 2026
site = "alder_bench"
date = 2026-05-26
[[layout.assumptions]]
measure = "marketable_yield"
plot_sd = 12
environment_sd = 4
difference = 40
source = "a pilot trial"
[[layout.assumptions]]
measure = "flea_beetle_days"
check_mean = 100
overdispersion = 30
difference = 60
"""


def nothing() -> pd.DataFrame:
    return pd.DataFrame(columns=["date", "plot", "event"])


def counts(study) -> pd.DataFrame:
    rng, plots = np.random.default_rng(1), randomise(study, *PLACE).plots["plot"]
    frame = pd.MultiIndex.from_product(
        [["2026-06-01", "2026-06-08"], plots, range(1, 6)], names=["date", "plot", "plant"]
    ).to_frame(index=False)
    return frame.assign(organism="flea_beetle", count=rng.poisson(rng.gamma(2, 2, len(frame))))


def test_a_new_study_gets_layout_map_sheets_labels_and_calendar(planned, tmp_path):
    study, out = planned(LAYOUT), tmp_path / "plan"
    made, files = plan(study, out, STAMP, places=[PLACE])
    names = {path.relative_to(tmp_path).as_posix() for path in files}
    papers = {"map.svg", "map.png", "map.pdf", "labels.pdf", "calendar.ics", "tasks.html"}
    visits = {"scouting_2026-05-31", "scouting_2026-06-07", "harvest_2026-07-27"}
    wanted = {f"plan/2026/alder_bench/{name}" for name in papers}
    wanted |= {f"plan/2026/alder_bench/sheets/{name}.xlsx" for name in visits}
    wanted |= {"data/2026/alder_bench/plots.csv", "randomisation.csv"}
    assert wanted <= names
    assert all(path.stat().st_size for path in files)
    assert made.place(*PLACE).drawn is not None


def test_the_answer_names_the_cheapest_layout_and_its_source(planned):
    made = make_plan(planned(LAYOUT), places=[])
    yields = next(one for one in made.enough if one.measure.id == "marketable_yield")
    assert yields.assumption.source == "a pilot trial"
    best = yields.cheapest
    assert best["power"] >= 0.8
    assert f"{best['blocks']} blocks" in yields.sentence("USD")
    assert (yields.table["cost"].diff().dropna() >= 0).all()


def test_counts_are_answered_by_simulation(planned):
    made = make_plan(planned(LAYOUT), places=[])
    beetles = next(one for one in made.enough if one.measure.id == "flea_beetle_days")
    assert beetles.cheapest is not None
    assert beetles.table["power"].iloc[-1] >= 0.8  # nothing dearer is worked out


def test_what_the_data_gave_goes_before_a_rule_of_thumb_and_after_what_is_typed(planned):
    found = {
        name: Assumption(measure=name, plot_sd=20, source="data")
        for name in ("marketable_yield", "flea_beetle_days")
    }
    text = LAYOUT.split('[[layout.assumptions]]\nmeasure = "flea')[0]
    made = make_plan(planned(text), Known(assumptions=found), places=[])
    sources = {one.measure.id: one.assumption.source for one in made.enough}
    assert sources["marketable_yield"] == "a pilot trial"
    filled = "data; check_mean = 40, overdispersion = 8 by rule of thumb"
    assert sources["flea_beetle_days"].startswith(filled)


def test_a_site_with_plots_keeps_them_and_its_events_move_the_tasks(planned):
    study = planned(LAYOUT)
    plots = randomise(study, *PLACE, seed=77).plots
    events = pd.DataFrame([("2026-05-29", "", "transplanted")], columns=["date", "plot", "event"])
    seen = {PLACE: Seen(plots, events, counts(study))}
    place = make_plan(study, Known(seen=seen), places=[PLACE]).place(*PLACE)
    assert place.drawn is None
    assert place.plots.equals(plots)
    assert next(t for t in place.tasks if t.rule == "scouting-1").date == dt.date(2026, 6, 3)


def test_another_draw_is_refused_once_data_exist(planned):
    study = planned(LAYOUT)
    folder = study.data_folder(*PLACE)
    folder.mkdir(parents=True)
    (folder / "scouting.csv").write_text("date,plot\n2026-06-01,101\n")
    with pytest.raises(StudyError, match="has data already"):
        make_plan(study, places=[PLACE], seed=3)


def test_a_site_without_a_planting_date_is_planned_but_for_its_dates(planned):
    places = [PLACE, (2026, "brook_terrace"), (2026, "cedar_flat")]
    made = make_plan(planned(LAYOUT), places=places)
    assert [fault.code for fault in made.faults] == ["no_planting"] * 2
    assert "brook_terrace has no planting date in 2026" in made.faults[0].what
    assert len(made.place(2026, "brook_terrace").plots) == 20
    assert {task.date for task in made.place(2026, "brook_terrace").tasks} == {None}
    assert all(task.date for task in made.place(*PLACE).tasks if task.rule == "planting")


def test_a_site_that_cannot_be_planned_stops_no_other(planned):
    study = planned(LAYOUT)
    folder = study.data_folder(2026, "brook_terrace")
    folder.mkdir(parents=True)
    (folder / "scouting.csv").write_text("date,plot\n2026-06-01,101\n")
    made = make_plan(study, places=[(2026, "brook_terrace"), PLACE])
    assert [place.site for place in made.places] == ["alder_bench"]
    assert [(fault.code, fault.severity) for fault in made.faults] == [("has_data", "error")]


def test_counts_so_far_give_a_sampling_plan_and_a_decision_card(planned):
    study = planned(LAYOUT)
    seen = {PLACE: Seen(randomise(study, *PLACE).plots, nothing(), counts(study))}
    sampling = make_plan(study, Known(seen=seen), places=[PLACE]).sampling
    assert sampling.law.b > 1
    assert (np.diff(sampling.plants["plants"]) < 0).all()
    assert (sampling.decide["act_at"] > sampling.decide["do_not_act_at"].fillna(-1)).all()


def test_contrasts_so_far_get_an_outlook(planned):
    so_far = [
        SoFar("marketable_yield", "netting", 0.5, 0.05, 4, 0.1),
        SoFar("marketable_yield", "clover", 0.05, 0.08, 4, 0.1),
    ]
    table = make_plan(planned(LAYOUT), Known(contrasts=so_far), places=[]).outlook
    assert table["settled_now"].tolist() == [True, False]
    assert table["more"].tolist()[0] == 0
    assert table["more"].isna()[1] or table["more"][1] > 0


@pytest.mark.parametrize("value", ["0", "-5"])
def test_a_variance_of_zero_or_less_names_the_entry(planned, value):
    with pytest.raises(StudyError, match=r"layout\.assumptions\.plot_sd"):
        planned(LAYOUT.replace("plot_sd = 12", f"plot_sd = {value}"))


def test_one_treatment_is_too_few(planned, tmp_path):
    study = planned(LAYOUT)
    text = (study.folder / "study.toml").read_text()
    start, end = text.index('[[treatments]]\nid = "netting"'), text.index("# --- Sites")
    (study.folder / "study.toml").write_text(text[:start] + text[end:])
    from trialkit.study import read_study

    with pytest.raises(StudyError, match="at least one other treatment"):
        read_study(study.folder)
