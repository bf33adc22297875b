"""Excluded, kept or undecided: what each does to the combined answer."""

import pandas as pd
import pytest

from tests.findings.places import environments_of
from trialkit.columns import DEVIATIONS
from trialkit.findings import across_findings, as_decided, standings, without_excluded
from trialkit.study import Study


def decided(study, *entries):
    """The study with these decisions alone, each (season, site, treatment, decision)."""
    keys = ("season", "site", "treatment", "decision")
    told = [{**dict(zip(keys, entry, strict=True)), "reason": "it rained"} for entry in entries]
    return Study.model_validate({**study.model_dump(), "protocol_decisions": told})


@pytest.fixture(scope="module")
def places(example_study):
    return environments_of(example_study)


def estimate(study, environments, treatment="netting"):
    effects = across_findings(study, environments).pooled.effects.set_index("treatment")
    return tuple(effects.loc[treatment, ["estimate", "low", "high"]])


def test_keeping_changes_no_number(example_study, places):
    keep = decided(example_study, (2025, "cedar_flat", "netting", "keep"))
    assert estimate(keep, places) == estimate(decided(example_study), places)


def test_an_excluded_site_season_is_as_if_it_had_not_been_there(example_study, places):
    out = decided(example_study, (2025, "cedar_flat", "", "exclude"))
    rest = [item for item in places if (item.season, item.site) != (2025, "cedar_flat")]
    found = across_findings(out, places)
    assert estimate(out, places) == estimate(decided(example_study), rest)
    assert found.left_out[2025, "cedar_flat"] == "excluded: it rained"
    assert (2025, "cedar_flat") not in found.environments


def test_an_excluded_treatment_leaves_the_others_of_its_site_in(example_study, places):
    out = decided(example_study, (2025, "cedar_flat", "netting", "exclude"))
    found = across_findings(out, places)
    n = found.pooled.means.set_index("treatment")["n"]
    assert n["kaolin"] - n["netting"] == 3
    assert (2025, "cedar_flat") in found.environments
    assert estimate(out, places) != estimate(decided(example_study), places)


def test_its_plot_values_stay_on_record_with_the_reason(example_study, places):
    out = decided(example_study, (2025, "cedar_flat", "netting", "exclude"))
    item = as_decided(out, places)[-1]
    reasons = item.values.set_index("treatment")["left_out"]
    assert set(reasons["netting"]) == {"excluded: it rained"}
    assert set(reasons["kaolin"]) == {""}
    assert len(item.values) == len(places[-1].values)


def test_counts_can_be_combined_without_a_treatment_at_one_place(example_study):
    counted = environments_of(example_study, "flea_beetle_days", (60, 20, 45, 50, 30))
    out = decided(example_study, (2025, "cedar_flat", "netting", "exclude"))
    found = across_findings(out, counted)
    assert set(found.pooled.effects["treatment"]) == {"netting", "silver_mulch", "clover", "kaolin"}
    assert estimate(out, counted) != estimate(decided(example_study), counted)


def test_single_effects_that_were_excluded_support_no_claim(example_study, places):
    out = decided(
        example_study,
        (2025, "cedar_flat", "netting", "exclude"),
        (2024, "alder_bench", "", "exclude"),
    )
    effects = across_findings(out, places).effects
    stay = without_excluded(out, effects)
    gone = effects.loc[effects.index.difference(stay.index)]
    assert len(gone) == 5
    assert set(gone["site"]) == {"cedar_flat", "alder_bench"}


def departures(*rows):
    frame = pd.DataFrame(rows, columns=["season", "site", "treatment", "rule"])
    return frame.assign(planned="p", happened="h", days=9.0)[list(DEVIATIONS)]


LATE = (2025, "cedar_flat", "netting", "netting_off")
VISIT = (2025, "alder_bench", "", "scouted_weekly")


def test_a_late_visit_is_no_other_protocol(example_study):
    (one,) = standings(decided(example_study), departures(LATE, VISIT))
    assert (one.site, one.treatment, one.rules) == ("cedar_flat", "netting", ("netting_off",))


def test_what_nobody_decided_is_told_apart_from_what_somebody_did(example_study):
    (open_one,) = standings(decided(example_study), departures(LATE))
    assert open_one.decision == ""
    keep = decided(example_study, (2025, "cedar_flat", "", "keep"))
    (kept,) = standings(keep, departures(LATE))
    assert (kept.decision, kept.reason) == ("keep", "it rained")


def test_a_decision_that_no_rule_called_for_is_listed_too(example_study):
    out = decided(example_study, (2024, "alder_bench", "kaolin", "exclude"))
    (one,) = standings(out, departures())
    assert (one.treatment, one.rules, one.decision) == ("kaolin", (), "exclude")


def test_a_study_with_everything_excluded_answers_nothing(example_study, places):
    out = decided(example_study, *[(i.season, i.site, "", "exclude") for i in places])
    found = across_findings(out, places)
    assert found.pooled.effects.empty
    assert set(found.pooled.unanswered) == {m.id for m in example_study.measures}
