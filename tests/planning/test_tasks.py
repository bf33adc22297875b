"""Tasks: from the plan, and moved by what has been seen."""

import datetime as dt

import pandas as pd
import pytest

from trialkit.errors import StudyError
from trialkit.planning.tasks import missing_planting, tasks_of

PLANTING = """
expected_days = { first_bloom = 40 }
scouting_days = [5, 12]
picking_days = [62, 69]
[[layout.plantings]]
season = 2026
site = "alder_bench"
date = 2026-05-26
"""
PLOTS = pd.DataFrame({"plot": ["101", "102"], "treatment": ["check", "netting"]})


def seen(*rows) -> pd.DataFrame:
    return pd.DataFrame(rows, columns=["date", "plot", "event"])


def by_rule(study, *rows):
    tasks = tasks_of(study, 2026, "alder_bench", seen(*rows), PLOTS)
    return {task.rule: task for task in tasks}


def test_dates_come_from_planting_and_rules(planned):
    tasks = by_rule(planned(PLANTING))
    assert tasks["planting"].date == dt.date(2026, 5, 26)
    assert tasks["clover_head_start"].date == dt.date(2026, 5, 12)  # 14 days before
    assert tasks["netting_off"].date == dt.date(2026, 7, 5)  # day 40
    assert tasks["scouting-2"].date == dt.date(2026, 6, 7)
    assert tasks["netting_off"].state == "expected"


def test_an_event_that_was_seen_moves_what_hangs_on_it(planned):
    tasks = by_rule(planned(PLANTING), ("2026-07-09", "102", "first_bloom"))
    assert tasks["netting_off"].date == dt.date(2026, 7, 9)
    assert tasks["netting_off"].state == "due"
    assert "first bloom seen on 2026-07-09" in tasks["netting_off"].why


def test_an_event_on_plots_of_another_treatment_moves_nothing(planned):
    tasks = by_rule(planned(PLANTING), ("2026-07-01", "101", "first_bloom"))
    assert tasks["netting_off"].date == dt.date(2026, 7, 5)


def test_a_late_bloom_in_the_check_moves_the_pickings(planned):
    tasks = by_rule(planned(PLANTING), ("2026-07-08", "101", "first_bloom"))
    assert tasks["harvest-1"].date == dt.date(2026, 7, 30)  # day 62 plus 3 days
    assert "+3 days" in tasks["harvest-1"].why


def test_what_was_done_says_so(planned):
    tasks = by_rule(
        planned(PLANTING),
        ("2026-05-28", "", "transplanted"),
        ("2026-05-28", "102", "cover_on"),
    )
    assert tasks["planting"].state == "done"
    assert tasks["netting_on"].state == "done"
    assert tasks["scouting-1"].date == dt.date(2026, 6, 2)  # from the real planting


def test_a_task_without_a_date_waits_for_its_event(planned):
    study = planned(PLANTING.replace("expected_days = { first_bloom = 40 }", ""))
    tasks = tasks_of(study, 2026, "alder_bench")
    assert tasks[-1].rule == "netting_off"
    assert tasks[-1].date is None
    assert "waits for first bloom" in tasks[-1].why


def test_without_a_planting_date_the_entry_to_add_is_named_with_its_line(planned):
    study = planned(PLANTING)
    tasks = tasks_of(study, 2026, "brook_terrace")
    assert {(task.date, task.state) for task in tasks} == {(None, "open")}
    (fault,) = missing_planting(study, 2026, "brook_terrace", tasks)
    text = (study.folder / "study.toml").read_text().splitlines()
    assert text[fault.row - 1] == "[layout]"
    assert "layout.plantings: brook_terrace has no planting date in 2026" in str(fault)


def test_a_planting_outside_the_season_is_refused(planned):
    with pytest.raises(StudyError, match="lies outside the season"):
        planned(PLANTING.replace("2026-05-26", "2026-12-26"))


def test_an_impossible_date_is_named(planned):
    with pytest.raises(StudyError, match="not valid TOML"):
        planned(PLANTING.replace("2026-05-26", "2026-02-30"))
