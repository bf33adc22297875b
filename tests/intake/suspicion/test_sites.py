"""A site whose untreated check differs wildly from the others; what farms really differ in, not."""

import shutil

import numpy as np
import pytest

from trialkit.intake import check_study
from trialkit.intake.suspicion.sites import CheckLevel, check_levels, odd_checks
from trialkit.study import read_study

from .conftest import EXAMPLE

SITES = ("a", "b", "c", "d")


def season(*logs, spread=0.5, year=2025):
    """Levels of one thing at several sites."""
    return {
        (year, site): [CheckLevel("mean count", log, spread, "scouting", 2, "count")]
        for site, log in zip(SITES, logs, strict=False)
    }


def odd(levels):
    return [place[1] for place, _, _ in odd_checks(levels)]


def test_a_check_far_from_all_others_is_asked_about():
    assert odd(season(1.0, 1.3, 0.8, -2.5)) == ["d"]


def test_sites_that_differ_as_farms_do_are_not():
    assert odd(season(1.0, 2.2, 0.3, 1.7)) == []


def test_where_the_others_differ_much_among_themselves_more_is_needed():
    assert odd(season(0.0, 4.0, -4.0, 6.5)) == []


def test_two_sites_say_nothing_about_each_other():
    assert odd(season(1.0, -9.0)) == []


def test_other_seasons_are_other_seasons():
    levels = {**season(1.0, -9.0), **season(-9.0, -9.0, -9.0, year=2024)}
    assert odd(levels) == []


def test_the_words_hold_the_evidence():
    ((_, _, words),) = odd_checks(season(0.0, 0.0, np.log(2), np.log(1 / 50)))
    assert words == (
        "in the untreated check of this site the mean count is 1/50 of the middle of the 3 other "
        "sites of 2025, which lie between 1.0 times and 2.0 times that middle"
    )


def test_levels_are_means_of_the_check_alone(clean):
    (counts,) = [one for one in check_levels(clean, "check") if one.table == "scouting"]
    plots = clean["plots"]
    own = plots.loc[plots["treatment"] == "check", "plot"]
    rows = clean["scouting"][clean["scouting"]["plot"].isin(own)]
    assert counts.log == pytest.approx(np.log((rows["count"].sum() + 0.5) / len(rows)), rel=1e-12)
    assert counts.row == rows.index[0]


def test_a_check_without_a_single_insect_still_has_a_level(clean):
    none = {**clean, "scouting": clean["scouting"].assign(count=0.0)}
    (counts,) = [one for one in check_levels(none, "check") if one.table == "scouting"]
    assert np.isfinite(counts.log)


def test_while_a_season_runs_only_the_weight_of_a_fruit_is_compared(clean):
    running = check_levels(clean, "check", finished=False)
    assert [one.what for one in running] == ["weight of a marketable fruit"]


@pytest.fixture
def sprayed(tmp_path):
    """The example, the check of one site counted as if somebody had sprayed it."""
    folder = tmp_path / "study"
    shutil.copytree(EXAMPLE, folder)
    path = folder / "data" / "2024" / "brook_terrace" / "scouting.csv"
    plots = (path.parent / "plots.csv").read_text().splitlines()
    checks = {line.split(",")[0] for line in plots if line.split(",")[2] == "check"}
    header, *lines = path.read_text().splitlines()
    at = header.split(",").index("count")
    rows = [line.split(",") for line in lines]
    for row in rows:
        row[at] = "0" if row[1] in checks else row[at]
    path.write_text("\n".join([header, *map(",".join, rows)]) + "\n")
    return folder


def questions(folder):
    found = check_study(read_study(folder), tables=False)
    return [fault for fault in found.faults if fault.code == "check_differs"], found


def test_check_asks_at_the_sheet_and_an_answer_on_record_silences_it(sprayed):
    (fault,), _ = questions(sprayed)
    assert fault.file.endswith("data/2024/brook_terrace/scouting.csv")
    assert (fault.column, fault.value, fault.severity) == ("count", "0", "question")
    answer = (
        f"data/2024/brook_terrace/scouting.csv,{fault.row},,count,0,"
        '"seen, correct",check_differs,EF,2024-10-01,the neighbour sprayed'
    )
    with (sprayed / "corrections.csv").open("a") as file:
        file.write(f"{answer}\n")
    left, found = questions(sprayed)
    assert left == []
    listed = found.site_season(2024, "brook_terrace").corrections
    assert listed["why"].tolist() == ["the neighbour sprayed"]


def test_the_example_raises_no_such_question():
    assert questions(EXAMPLE)[0] == []
