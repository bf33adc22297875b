"""Slips in the typed sheets: the corrections mend every one, and nothing else is touched."""

from types import SimpleNamespace

import pandas as pd
import pytest

from trialkit.intake import read_site_season
from trialkit.simulate import read_truth, simulate_site_season, with_mistakes


@pytest.fixture(scope="module")
def truth(example_folder):
    return read_truth(example_folder)


def test_each_slip_changes_one_cell(example_study, truth):
    for mistake in truth.mistakes:
        drawn = simulate_site_season(example_study, mistake.season, mistake.site, truth)
        typed = with_mistakes(drawn, [mistake])
        assert [n for n in drawn if not drawn[n].equals(typed[n])] == [mistake.table]
        assert (drawn[mistake.table] != typed[mistake.table]).to_numpy().sum() == 1


def test_read_with_its_corrections_a_sheet_says_what_was_drawn(example_study, truth):
    for mistake in truth.mistakes:
        place = (mistake.season, mistake.site)
        drawn = simulate_site_season(example_study, *place, truth)[mistake.table]
        column = {"weight": 0.45359237, "count": 1}[mistake.column]
        read = read_site_season(example_study, *place).tables[mistake.table][mistake.column]
        as_typed = read_site_season(example_study, *place, as_typed=True).tables[mistake.table]
        expected = drawn[mistake.column].to_numpy() * column
        assert read.to_numpy() == pytest.approx(expected, rel=1e-12)
        assert as_typed[mistake.column].to_numpy() != pytest.approx(expected, rel=1e-12)


def test_a_mistake_that_names_no_row_is_told(example_study, truth):
    drawn = {"harvest": pd.DataFrame({"plot": ["101"], "weight": [2.0]})}
    wrong = SimpleNamespace(
        table="harvest", row={"plot": "999"}, column="weight", slip="last_digit_twice"
    )
    with pytest.raises(ValueError, match="names 0 rows"):
        with_mistakes(drawn, [wrong])
