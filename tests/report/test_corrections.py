"""Corrections on record as the reports show them."""

import shutil

import pytest

from trialkit.report.across_parts import corrections_words
from trialkit.report.corrections import corrections_by_place
from trialkit.report.site_season import open_report


@pytest.fixture(scope="module")
def report(example_folder):
    return open_report(example_folder, 2025, "alder_bench")


def shown(report):
    return report.as_run()._repr_mimebundle_()["text/plain"]


def test_the_report_lists_who_changed_what_and_why(report):
    line = next(line for line in shown(report).splitlines() if "harvest.csv, row 105" in line)
    assert "weight: “116.8” is read as “11.68”. The decimal point slipped" in line
    assert line.endswith("(B, 2025-08-05).")


def test_the_report_says_what_the_findings_would_be_without_them(report):
    assert "7 verdicts would be different without them" in shown(report)
    table = shown(report).split("What the corrections moved")[1]
    assert "not settled" in table
    assert "worthwhile" in table


def test_verdicts_that_hang_on_corrections_stand_among_the_cautions(report):
    cautions = report.facts.sentences["cautions"]
    assert "The verdict on marketable yield with kaolin clay film rests on corrections" in cautions
    assert report.facts.values["corrections"].number == 1


def test_measures_that_no_correction_touches_are_not_analysed_again(report):
    assert set(report.undone.moved["measure"]) == {
        "marketable_yield", "early_yield", "mean_fruit_weight"
    }  # fmt: skip


def test_an_answer_is_listed_and_moves_nothing(example_folder, tmp_path):
    copy = tmp_path / "study"
    shutil.copytree(example_folder, copy)
    path = copy / "corrections.csv"
    lines = [line for line in path.read_text().splitlines() if "alder_bench" not in line]
    answer = (
        "data/2025/alder_bench/harvest.csv,105,,weight,116.8,"
        '"seen, correct",,B,2025-08-05,weighed twice'
    )
    path.write_text("\n".join([*lines, answer]) + "\n")
    report = open_report(copy, 2025, "alder_bench")
    assert report.undone.moved.empty
    assert "Questions about the data that were answered" in shown(report)
    assert "“116.8” is right. Weighed twice (B, 2025-08-05)." in shown(report)


def test_markup_in_a_correction_stays_text(example_folder, tmp_path):
    copy = tmp_path / "study"
    shutil.copytree(example_folder, copy)
    path = copy / "corrections.csv"
    path.write_text(path.read_text().replace("the decimal point slipped", "<b>slipped</b>"))
    text = open_report(copy, 2025, "alder_bench").as_run()._repr_mimebundle_()["text/markdown"]
    assert "\\<b\\>slipped" in text
    assert "<b>slipped" not in text


def test_corrections_are_counted_place_by_place(example_study):
    counted = corrections_by_place(example_study)
    assert counted == {
        (2024, "cedar_flat"): 1, (2025, "alder_bench"): 1, (2025, "cedar_flat"): 1
    }  # fmt: skip


def test_the_report_across_counts_them(example_study):
    said = corrections_words(example_study, []).markdown
    assert said.startswith("3 corrections of the data are on record: Cedar Flat 2024 (1), ")
