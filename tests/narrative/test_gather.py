"""Facts of the example: every name has a value, every default claim stands, JSON keeps all."""

from dataclasses import replace

import pandas as pd
import pytest

from trialkit import intake, measures
from trialkit.findings import Environment, across_findings, site_season_findings
from trialkit.narrative.facts import read_facts
from trialkit.narrative.fill import fill
from trialkit.narrative.gather import Place, across_facts, site_season_facts
from trialkit.narrative.names import look_up


def found_at(study, season, site):
    data = intake.read_site_season(study, season, site)
    values = measures.plot_values(study, season, site, data.tables, data.left_out)
    findings = site_season_findings(study, values)
    return Environment(season, site, values, findings.effects), findings


@pytest.fixture(scope="module")
def found(example_study):
    return [found_at(example_study, year, "alder_bench") for year in (2024, 2025)]


@pytest.fixture(scope="module")
def environments(found):
    return [environment for environment, _ in found]


@pytest.fixture(scope="module")
def findings(found):
    return found[1][1]


@pytest.fixture(scope="module")
def facts(example_study, findings):
    place = Place(2025, "alder_bench", blocks=4, plots=20, lost=0)
    return site_season_facts(example_study, place, findings)


def test_numbers_come_in_the_unit_that_people_read(facts, findings):
    means = findings.means.set_index(["treatment", "measure"])
    canonical = means.loc[("netting", "marketable_yield"), "mean"]
    value = facts.values["netting.marketable_yield.mean"]
    # NIST SP 811, appendix B: an acre is 4.046 873 E+03 m², a pound 4.535 924 E-01 kg.
    assert value.number == pytest.approx(canonical * 4046.873 / 0.4535924, rel=1e-6)
    assert value.unit == "lb/acre"


def test_every_name_can_be_quoted_and_every_default_claim_stands(facts):
    assert all(look_up(name, facts).text for name in facts.values)
    for text in facts.sentences.values():
        filled = fill(text, facts)
        assert not filled.wrong
        assert [claim for claim in filled.claims if not claim.is_supported] == []


def test_facts_come_back_from_their_file_as_they_were(facts):
    effects = tuple(replace(one, low=float("-inf")) for one in facts.effects[:1])
    facts = replace(facts, effects=effects)
    assert read_facts(facts.to_bytes(), "facts.json") == facts
    assert b"Infinity" not in facts.to_bytes()


def test_across_says_how_many_site_seasons_show_it(example_study, environments):
    found = across_findings(example_study, environments)
    facts = across_facts(example_study, found)
    assert facts.values["site_seasons"].number == 2
    shown = {name: one.text for name, one in facts.values.items() if name.endswith(".shown_in")}
    assert all("of 2" in text for text in shown.values())
    filled = fill(facts.sentences["findings"], facts)
    assert not filled.wrong
    assert all(claim.is_supported for claim in filled.claims)


def test_flipping_one_treatment_flips_its_default_sentence(example_study, findings):
    place = Place(2025, "alder_bench", blocks=4, plots=20, lost=0)

    def told(effects: pd.DataFrame) -> str:
        facts = site_season_facts(example_study, place, replace(findings, effects=effects))
        text = fill(facts.sentences["findings"], facts).markdown
        return next(line for line in text.split("\n") if line.startswith("- Flea beetle days"))

    flipped = findings.effects.copy()
    rows = (flipped["treatment"] == "netting") & (flipped["measure"] == "flea_beetle_days")
    flipped.loc[rows, ["effect", "effect_low", "effect_high"]] = [150.0, 90.0, 230.0]
    flipped.loc[rows, ["verdict", "direction", "bound"]] = ["worthwhile", "worse", ""]
    assert "lower with fine-mesh netting" in told(findings.effects)
    assert "higher with fine-mesh netting" in told(flipped)
