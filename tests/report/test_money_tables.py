"""What the final report says of money: tables, sliders, hours of events, and what is missing."""

import sys
from types import SimpleNamespace

import pandas as pd
import pytest

from tests.findings.money import COSTS, with_economics
from tests.findings.places import environments_of
from trialkit.errors import TrialkitError
from trialkit.findings.costs_of import treatment_costs
from trialkit.findings.economics import money_of
from trialkit.findings.economics_grid import fitted
from trialkit.findings.effect_table import Scope
from trialkit.findings.gains_by_place import gains_of
from trialkit.findings.refit import analyse_again, each_place, values_of
from trialkit.narrative.advice import advice_of
from trialkit.report import money
from trialkit.report.background import event_times
from trialkit.report.evidence import event_hours
from trialkit.report.explorer import explorer, returns_table
from trialkit.study import EventLabour


@pytest.fixture(scope="module")
def rich(example_study):
    return with_economics(example_study)


@pytest.fixture(scope="module")
def places(rich):
    return environments_of(rich)


@pytest.fixture(scope="module")
def analysis(rich, places):
    measure = rich.measure("marketable_yield")
    return analyse_again(rich, measure, values_of(measure, places))


@pytest.fixture(scope="module")
def together(rich, analysis):
    return money_of(rich, analysis, treatment_costs(rich, COSTS), Scope(0, "across"))


def test_every_treatment_has_its_budget_and_its_gain(rich, together):
    budget = money.budget_table(rich, together, "Budgets")
    assert {row[0] for row in budget.rows} == {t.name for t in rich.treatments}
    gains = money.gain_table(rich, together)
    assert [row[0] for row in gains.rows] == [t.name for t in rich.treatments if not t.check]
    assert gains.rows[0][-1] == "pays"
    assert "%" in gains.rows[0][3]


def test_a_farm_not_yet_tried_is_less_sure_than_those_that_were(together):
    row = together.of("netting")
    assert row["new_low"] < row["gain_low"] < row["gain"] < row["gain_high"] < row["new_high"]


def test_places_have_their_own_row_and_a_broken_one_has_none(rich, places):
    measure, costs = rich.measure("marketable_yield"), treatment_costs(rich, COSTS)
    each = each_place(rich, measure, places)
    by_place = {place: gains_of(rich, one, costs, {}) for place, one in each.items()}
    by_place[2026, "alder_bench"] = gains_of(rich, None, costs, {})
    table = money.place_table(rich, by_place)
    assert len(table.rows) == len(places)
    assert table.rows[0][0] == "Alder Bench 2024"


def test_gains_of_a_place_are_those_of_its_budget(rich, analysis):
    costs = treatment_costs(rich, COSTS)
    budget = money_of(rich, analysis, costs, Scope(2024, "alder_bench"), {"kaolin": 2.0}).budget
    gains = gains_of(rich, analysis, costs, {"kaolin": 2.0}).by_treatment
    rows = budget.set_index("treatment").loc[list(rich.treatment_ids)[1:], ["gain", "chance"]]
    assert [gains[name] for name in rows.index] == list(rows.itertuples(index=False, name=None))


def test_what_is_missing_is_said_with_the_cell_to_mend(rich, analysis):
    costs = treatment_costs(rich, COSTS[COSTS["treatment"] != "kaolin"])
    partial = money_of(rich, analysis, costs, Scope(0, "across"))
    told = money.missing_words([partial, partial]).markdown
    assert told.count("Kaolin clay film has no costs in costs.csv") == 1
    assert "\n- costs.csv::treatment: treatment 'kaolin' has no row" in told
    assert "not advice" in told


def test_whether_it_pays_is_handed_to_the_text_with_its_evidence(rich, together):
    advice = advice_of(rich, together)
    found = advice.payoffs
    assert set(found) == set(rich.treatment_ids[1:])
    row = together.of("netting")
    assert found["netting"].verdict == row["word"] == "pays"
    gain = money.ranged(row["gain"], row["gain_low"], row["gain_high"])
    assert f"gain over the check {gain} USD per acre" in found["netting"].words
    assert set(found["netting"].against) == set(rich.treatment_ids) - {"netting"}
    assert advice.values["netting.gain"].text.endswith("USD per acre")


def test_sliders_show_the_returns_at_their_price(rich, analysis):
    pytest.importorskip("ipywidgets", reason="the explorer is an extra")
    fit = fitted(rich, analysis, treatment_costs(rich, COSTS))
    box = explorer(rich, fit)
    price, _, shown = box.children
    price.value = 0.5
    assert shown.value == returns_table(rich, fit.returns(0.5), 0.5, 1.0).to_html()
    assert "At 0.50 USD a lb" in shown.value


def test_without_ipywidgets_the_explorer_says_what_to_install(rich, analysis, monkeypatch):
    monkeypatch.setitem(sys.modules, "ipywidgets", None)
    with pytest.raises(TrialkitError, match=r"pip install trialkit\[explore\]"):
        explorer(rich, fitted(rich, analysis, treatment_costs(rich, COSTS)))


def test_hours_of_events_are_those_of_an_average_plot(example_study):
    labour = (EventLabour(treatment="kaolin", event="kaolin_sprayed", hours=2.5),)
    study = with_economics(example_study, labour=labour)
    plots = pd.DataFrame({"plot": ["1", "2", "3"], "treatment": ["kaolin", "kaolin", "check"]})
    events = pd.DataFrame(
        {"plot": ["1", "2", "1", None, "3"], "event": ["kaolin_sprayed"] * 4 + ["cover_on"]}
    )
    data = SimpleNamespace(tables={"plots": plots, "events": events})
    # Three sprayings over two plots and one of the whole site: 1.5 + 1 times 2.5 hours.
    times = event_times(study, data)
    assert times["kaolin"] == {"kaolin_sprayed": 2.5}
    assert times["check"] == {"cover_on": 1.0, "kaolin_sprayed": 1.0}
    assert event_hours(study, times) == {"kaolin": 6.25}


@pytest.mark.parametrize(
    ("chance", "words"), [(0.85, "85 %"), (1.0, "over 99 %"), (0.0, "under 1 %")]
)
def test_a_chance_is_never_certain(chance, words):
    assert money.chance_words(chance).replace("\u00a0", " ") == words
