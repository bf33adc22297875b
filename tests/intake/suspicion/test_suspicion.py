"""Each kind of fault is asked about at its own row; clean tables raise no question."""

import shutil

import numpy as np
import pandas as pd
import pytest

from trialkit.intake import read_site_season
from trialkit.intake.suspicion import suspicions
from trialkit.study import read_study

from .conftest import EXAMPLE


def changed(tables, table, **columns):
    return {**tables, table: tables[table].assign(**columns)}


def with_value(tables, table, row, column, value):
    frame = tables[table].copy()
    frame.loc[row, column] = value
    return {**tables, table: frame}


def test_clean_tables_raise_no_question(clean, asked):
    assert asked(clean) == []


def test_every_question_says_what_to_look_at(clean):
    tables = with_value(clean, "scouting", 10, "count", 5000.0)
    problems = [problem for _, problem in suspicions(tables)]
    assert [p.severity for p in problems] == ["question"]
    assert all("mean" in text for text in problems[0].what)
    assert "field sheet" in problems[0].remedy


def test_a_count_far_above_its_day_and_treatment_is_asked_about(clean, asked):
    tables = with_value(clean, "scouting", 10, "count", 5000.0)
    assert asked(tables) == [("scouting", "count_far_off", [10])]


@pytest.mark.parametrize(
    ("factor", "unit"), [(10, "decimal point"), (16, "oz for lb"), (28.35, "g for oz")]
)
def test_a_weight_in_another_unit_is_asked_about_with_the_unit(clean, factor, unit):
    row = clean["harvest"].index[clean["harvest"]["fruit"] >= 4][0]
    weight = clean["harvest"].loc[row, "weight"]
    problems = [
        p for _, p in suspicions(with_value(clean, "harvest", row, "weight", weight * factor))
    ]
    assert [list(p.rows) for p in problems] == [[row]]
    assert unit in problems[0].what[0]


def test_a_picking_in_another_unit_is_one_question(clean, asked):
    harvest = clean["harvest"]
    day = harvest["date"].unique()[3]
    weight = harvest["weight"].where(harvest["date"] != day, harvest["weight"] * 2.2046)
    first = harvest.index[harvest["date"] == day][0]
    found = asked(changed(clean, "harvest", weight=weight))
    assert found == [("harvest", "picking_unit", [first])]


def test_plots_changed_over_are_named(clean):
    block = clean["plots"][clean["plots"]["block"] == "1"].set_index("treatment")["plot"]
    pair = {block["check"]: block["netting"], block["netting"]: block["check"]}
    tables = changed(clean, "scouting", plot=clean["scouting"]["plot"].replace(pair))
    found = [p for _, p in suspicions(tables) if p.code == "plots_swapped"]
    assert len(found) == 1
    assert all(plot in str(found[0].what) for plot in pair)


def test_an_observer_who_counts_high_is_named(clean):
    scouting = clean["scouting"]
    who = np.where(np.arange(len(scouting)) % 2 == 0, "A", "B")
    high = scouting["count"].where(who == "A", (scouting["count"] * 3).round())
    found = list(suspicions(changed(clean, "scouting", observer=who, count=high)))
    told = {p.what.split(" counts ")[0] for _, p in found if p.code == "observer_differs"}
    assert "B" in told


def test_a_visit_dated_a_month_late_is_asked_about(clean, asked):
    scouting = clean["scouting"]
    day = sorted(scouting["date"].unique())[2]
    late = pd.Timestamp(day) + pd.DateOffset(months=1)
    first = scouting.index[scouting["date"] == day][0]
    found = asked(changed(clean, "scouting", date=scouting["date"].replace({day: late})))
    assert ("scouting", "month_off", [first]) in found


def test_one_visit_without_any_is_asked_about(clean, asked):
    scouting = clean["scouting"]
    mean = scouting.pivot_table(index="date", columns="plot", values="count")
    full = (mean >= 3) & (mean.shift(1) >= 3) & (mean.shift(-1) >= 3)
    day, plot = full.stack()[lambda s: s].index[0]
    here = (scouting["date"] == day) & (scouting["plot"] == plot)
    found = asked(changed(clean, "scouting", count=scouting["count"].where(~here, 0.0)))
    assert ("scouting", "zero_visit", [scouting.index[here][0]]) in found


def test_counts_rounded_to_five_are_asked_about(clean, asked):
    rounded = (clean["scouting"]["count"] / 5).round() * 5 + 10
    codes = [code for _, code, _ in asked(changed(clean, "scouting", count=rounded))]
    assert "digit_preference" in codes


def test_a_temperature_in_another_unit_is_asked_about(clean, asked):
    row = clean["weather"].index[80]
    tables = with_value(clean, "weather", row, "tmax", -2.0)
    assert asked(tables) == [("weather", "temperature_off", [row])]


def test_a_picking_long_after_all_others_is_asked_about(clean, asked):
    date = clean["harvest"]["date"]
    last = date == date.max()
    late = date.where(~last, date + pd.Timedelta(days=40))
    row = clean["harvest"].index[last][0]
    found = asked(changed(clean, "harvest", date=late))
    assert found == [("harvest", "late_picking", [row])]


def test_a_score_far_from_the_plots_own_visits_is_asked_about(clean, asked):
    ratings = clean["ratings"]
    row = ratings.index[ratings["date"] == sorted(ratings["date"].unique())[4]][0]
    found = asked(with_value(clean, "ratings", row, "score", 99.0))
    assert ("ratings", "score_far_off", [row]) in found


@pytest.mark.parametrize("table", ["scouting", "harvest", "ratings", "weather"])
def test_a_table_without_rows_is_no_reason_for_a_question(clean, asked, table):
    assert asked({**clean, table: clean[table].iloc[:0]}) == []


def test_an_answer_on_record_silences_the_question(tmp_path):

    folder = shutil.copytree(EXAMPLE, tmp_path / "study")
    path = folder / "data" / "2024" / "alder_bench" / "scouting.csv"
    lines = path.read_text().splitlines()
    cells = lines[9].split(",")
    cells[5] = "5000"
    lines[9] = ",".join(cells)
    path.write_text("\n".join(lines) + "\n")
    study = read_study(folder)
    question = next(
        f for f in read_site_season(study, 2024, "alder_bench").faults if f.code == "count_far_off"
    )
    (folder / "corrections.csv").write_text(
        "file,row,column,was,now,who,when,why\n"
        f"data/2024/alder_bench/scouting.csv,{question.row},{question.column},{question.value},"
        '"seen, correct",EF,2024-07-01,an outbreak on one plant\n'
    )
    read = read_site_season(study, 2024, "alder_bench")
    assert "count_far_off" not in [fault.code for fault in read.faults]
    assert read.corrections["why"].tolist() == ["an outbreak on one plant"]
