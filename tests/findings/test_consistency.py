"""Season by season, without each place, at the next place, and ranks."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.findings.conftest import values_of
from tests.findings.places import PLACES, environments_of
from trialkit.findings import Environment, across_findings, consistency, site_season_findings
from trialkit.findings.refit import each_place, place_means
from trialkit.findings.spread import variance_between
from trialkit.inference.trend import permutation_trend


@pytest.fixture(scope="module")
def places(example_study):
    return environments_of(example_study)


@pytest.fixture(scope="module")
def across(example_study, places):
    return across_findings(example_study, places)


@pytest.fixture(scope="module")
def measure(example_study):
    return example_study.measure("marketable_yield")


def of(table, treatment):
    return table[table["treatment"] == treatment].set_index("label")


def test_the_last_season_is_the_whole_answer(example_study, measure, places, across):
    table = of(consistency.season_by_season(example_study, measure, places), "netting")
    assert list(table.index) == ["up to 2024", "up to 2025"]
    whole = across.pooled.effects.set_index("treatment").loc["netting"]
    for name in ("effect", "effect_low", "effect_high"):
        assert table.loc["up to 2025", name] == pytest.approx(whole[name])


def test_leaving_a_place_out_is_the_analysis_of_the_others(example_study, measure, places):
    table = of(consistency.without_each(example_study, measure, places), "netting")
    assert len(table) == len(PLACES)
    rest = across_findings(example_study, places[1:])
    expected = rest.pooled.effects.set_index("treatment").loc["netting", "effect"]
    assert table.loc["without Alder Bench 2024", "effect"] == pytest.approx(expected)


def answering_by_site(study) -> list[Environment]:
    """Netting gains 0.1, 0.5 and 0.9 at the three sites, the same in both seasons."""
    found = []
    for number, (season, site) in enumerate(PLACES):
        gains = [2.0, 2.1 + 0.4 * (number % 3), 2.0, 1.9, 2.1]
        plots = values_of("marketable_yield", gains, season=season, site=site, noise=0.08,
                          seed=number, blocks=3)  # fmt: skip
        found.append(Environment(season, site, plots, site_season_findings(study, plots).effects))
    return found


def test_fewer_places_do_not_make_an_effect_surer_that_belongs_to_its_site(example_study, measure):
    places = answering_by_site(example_study)
    pooled = across_findings(example_study, places).pooled
    assert "site:treatment" in pooled.analyses["marketable_yield"].model.components
    whole = pooled.effects.set_index("treatment").loc["netting"]
    table = of(consistency.without_each(example_study, measure, places), "netting")
    assert len(table) == len(PLACES)
    widths = table["effect_high"] - table["effect_low"]
    assert widths.min() > 0.7 * (whole["effect_high"] - whole["effect_low"])


def test_two_places_leave_nothing_to_leave_out(example_study, measure, places):
    assert consistency.without_each(example_study, measure, places[:2]).empty


def test_of_many_site_seasons_whole_sites_and_seasons_are_left_out(
    example_study, measure, places, monkeypatch
):
    monkeypatch.setattr(consistency, "MOST_IN_TURN", len(places) - 1)
    sites = {item.site for item in places}
    table = of(consistency.without_each(example_study, measure, places), "netting")
    assert list(table.index) == [f"without {example_study.site(s).name}" for s in sorted(sites)]
    rest = [item for item in places if item.site != min(sites)]
    expected = across_findings(example_study, rest).pooled.effects.set_index("treatment")
    assert table["effect"].iloc[0] == pytest.approx(expected.loc["netting", "effect"])


def test_the_next_place_is_the_interval_with_the_variance_between_places(measure, across):
    analysis = across.pooled.analyses["marketable_yield"]
    row = analysis.contrasts.set_index("treatment").loc["netting"]
    between = 2 * variance_between(analysis)
    reach = stats.t.ppf(0.975, row["df"]) * np.sqrt(row["se"] ** 2 + between)
    check = analysis.means.set_index("treatment")["mean"]["check"]
    found = consistency.prediction(measure, analysis, 0.95).set_index("treatment").loc["netting"]
    assert found["prediction_high"] == pytest.approx(100 * (row["estimate"] + reach) / check)


def test_the_next_place_of_pooled_counts_is_that_of_the_pooling(example_study):
    counts = environments_of(example_study, "flea_beetle_days", (200.0, 40, 150, 180, 90))
    analysis = across_findings(example_study, counts).pooled.analyses["flea_beetle_days"]
    own = {row["treatment"]: row for row in analysis.model.record["ratios"]}
    measure = example_study.measure("flea_beetle_days")
    found = consistency.prediction(measure, analysis, 0.95).set_index("treatment")
    expected = 100 * np.expm1(own["netting"]["prediction_high"])
    assert found.loc["netting", "prediction_high"] == pytest.approx(expected)


def test_the_variance_between_places_is_told_in_words(example_study, measure, across):
    analysis = across.pooled.analyses["marketable_yield"]
    told = consistency.between_words(example_study, measure, analysis)
    sd = np.sqrt(2 * variance_between(analysis))
    check = analysis.means.set_index("treatment")["mean"]["check"]
    nothing = "no difference in effects" in told
    assert nothing if sd == 0 else f"{100 * sd / check:.0f} % of the check" in told


def test_a_trend_is_tested_for_every_treatment_and_condition(across):
    conditions = pd.DataFrame(PLACES, columns=["season", "site"]).assign(pressure=range(6), rain=7)
    found = consistency.trends(across.effects, conditions, "marketable_yield")
    assert set(found["condition"]) == {"pressure"}
    assert found["exact"].all()
    own = across.effects[across.effects["treatment"] == "netting"]
    expected = permutation_trend(np.arange(6.0), own["estimate"].to_numpy())
    netting = found.set_index("treatment").loc["netting"]
    assert (netting["slope"], netting["p"]) == pytest.approx((expected.slope, expected.p))


def test_ranks_put_the_best_first(example_study, measure, places):
    means = place_means(each_place(example_study, measure, places), measure)
    table = consistency.ranks(means, measure).set_index("treatment")
    assert table.loc["netting", ["mean_rank", "worst_rank", "times_first"]].tolist() == [1, 1, 6]
    assert table.loc["clover", "best_rank"] == 5
