"""A plan that cannot be made says which entry of study.toml is at fault, where, and what to do."""

import re

import pandas as pd
import pytest

from trialkit.errors import StudyError
from trialkit.planning import Known, Seen, make_plan
from trialkit.planning.how_much import layout_cautions
from trialkit.planning.randomise import randomise
from trialkit.study import read_study

PLACE = (2026, "alder_bench")
PLANTED = """
reach = { blocks = 2, sites = 1, seasons = 1 }
[[layout.plantings]]
season = 2026
site = "alder_bench"
date = 2026-05-26
"""
MORE = '\n[[layout.assumptions]]\nmeasure = "marketable_yield"\n'


def fault_of(planned, layout: str, more: str = ""):
    with pytest.raises(StudyError) as caught:
        make_plan(planned(layout, more), places=[PLACE])
    return caught.value.faults[0]


CASES = {
    "field_too_small": (
        "field_width = 20\n",
        "",
        "layout.field_width",
        "the trial is 35 ft across with guards, the field 20 ft",
        "Take a larger field",
    ),
    "more_treatments_than_plots": (
        "field_width = 20\nfield_length = 34\n",
        "",
        "layout.field_width",
        "there are 5 treatments, and the field has room for 2 plots",
        "Take fewer treatments",
    ),
    "layout": (
        'design = "latin_square"\nblocks = 4\n',
        "",
        "layout.blocks",
        "a Latin square of 5 treatments has 5 rows and columns, not 4",
        "Set blocks = 5",
    ),
}


@pytest.mark.parametrize("code", CASES)
def test_what_cannot_be_laid_out_names_entry_line_and_remedy(planned, code):
    layout, more, key, what, remedy = CASES[code]
    fault = fault_of(planned, layout + PLANTED, more)
    assert (fault.code, fault.column, fault.severity) == (code, key, "error")
    assert what in fault.what
    assert fault.remedy.startswith(remedy)
    with open(fault.file, encoding="utf-8") as file:
        assert file.read().splitlines()[fault.row - 1].startswith(key.removeprefix("layout."))


@pytest.mark.parametrize(
    ("entries", "key"),
    [
        ("plot_sd = 0", "plot_sd"),
        ("plot_sd = -3", "plot_sd"),
        ("environment_sd = -1", "environment_sd"),
        ("whole_plot_sd = -1", "whole_plot_sd"),
        ("overdispersion = 0", "overdispersion"),
        ("check_mean = -2", "check_mean"),
    ],
)
def test_a_spread_of_zero_or_less_names_entry_and_line(planned, entries, key):
    with pytest.raises(StudyError) as caught:
        planned(PLANTED, MORE + entries)
    (fault,) = caught.value.faults
    assert fault.column == f"layout.assumptions.{key}"
    assert "greater than" in fault.what
    with open(fault.file, encoding="utf-8") as file:
        assert file.read().splitlines()[fault.row - 1].startswith(key)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("2026-05-26", "2026-02-30", "not valid TOML"),
        ("2026-05-26", "2026-12-26", "2026-12-26 at 'alder_bench' lies outside the season"),
        ('site = "alder_bench"', 'site = "nowhere"', "names site 'nowhere'"),
        ("season = 2026", "season = 2031", "names season 2031, which is not listed"),
    ],
)
def test_impossible_dates_and_places_are_named(planned, old, new, says):
    with pytest.raises(StudyError, match=re.escape(says)):
        planned(PLANTED.replace(old, new))


def test_two_plantings_of_one_site_are_named(planned):
    twice = PLANTED + PLANTED[PLANTED.index("[[") :]
    with pytest.raises(StudyError, match="names 'alder_bench' in 2026 twice"):
        planned(twice)


def test_one_treatment_is_too_few(planned):
    study = planned(PLANTED)
    path = study.folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    start, end = text.index('[[treatments]]\nid = "netting"'), text.index("# --- Sites")
    path.write_text(text[:start] + text[end:], encoding="utf-8")
    with pytest.raises(StudyError, match="at least one other treatment"):
        read_study(study.folder)


def test_visits_outside_the_season_are_left_out_and_named(planned):
    study = planned(f"scouting_days = [5, 300]\npicking_days = [62]\n{PLANTED}")
    made = make_plan(study, places=[PLACE])
    (fault,) = made.faults
    assert (fault.code, fault.column) == ("visit_out_of_season", "layout.scouting_days")
    assert "the days 300 fall outside the season" in fault.what


def test_a_list_of_plots_without_a_treatment_is_named(planned):
    study = planned(PLANTED)
    plots = randomise(study, *PLACE).plots
    few = plots[plots["treatment"] != "clover"].reset_index(drop=True)
    events = pd.DataFrame(columns=["date", "plot", "event"])
    known = Known(seen={PLACE: Seen(few, events, events)})
    (fault,) = make_plan(study, known, places=[PLACE]).faults
    assert fault.code == "treatment_absent"
    assert "16 plots hold 4 of the 5 treatments; clover has none" in fault.what


def test_too_few_degrees_of_freedom_are_said_of_the_layout_as_it_is(planned):
    (caution,) = layout_cautions(planned("blocks = 3"))
    assert "5 treatments in 3 replicates leave 8 residual degrees of freedom" in caution
    assert layout_cautions(planned("blocks = 4")) == ()
    (caution,) = layout_cautions(planned("blocks_at = { cedar_flat = 1 }"))
    assert caution.startswith("Cedar Flat: With one replicate")


def test_whole_plots_of_one_treatment_name_the_entry(planned):
    groups = 'a = ["check"], b = ["kaolin"], c = ["clover"], d = ["netting"], e = ["silver_mulch"]'
    layout = f'design = "split_plot"\nwhole_plots = {{ {groups} }}\n{PLANTED}'
    fault = fault_of(planned, layout)
    assert fault.column == "layout.whole_plots"
    assert "two treatments or more" in fault.what
