"""Protocol, planned and done, as the reports show it."""

import shutil

import pytest

from trialkit.report.across import open_across
from trialkit.report.site_season import open_report


@pytest.fixture(scope="module")
def late(example_folder):
    return open_report(example_folder, 2025, "cedar_flat")


def text_of(shown):
    return shown._repr_mimebundle_()["text/plain"]


def test_each_site_season_shows_its_timeline_with_alternative_text(late):
    figure = late.season_figure()
    assert figure.alt.startswith("Protocol: 4 of 5 on time. Netting comes off at first bloom: 10")
    assert "rain" in figure.alt


def test_departures_are_listed_in_words_with_what_was_decided(late):
    said = text_of(late.as_run())
    assert "cover off: 2025-07-15" in said
    assert "is kept in the combined answer: growers take netting off late too" in said


def test_a_season_still_running_calls_nothing_late_before_it_is_due(example_folder):
    figure = open_report(example_folder, 2026, "brook_terrace").season_figure()
    assert figure.alt.startswith("Protocol: 3 of 3 on time.")


@pytest.fixture(scope="module")
def one_season(example_folder, tmp_path_factory):
    """One season of the example, nothing decided yet; opened with a decision or none."""
    folder = tmp_path_factory.mktemp("decisions") / "study"
    shutil.copytree(example_folder, folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    start = text.index("[[protocol_decisions]]")
    undecided = text[:start] + text[text.index("# --- Heat", start) :]
    start = undecided.index("[[seasons]]\nyear = 2024")
    undecided = undecided[:start] + undecided[undecided.index("[[", start + 2) :]
    start = undecided.index("[[seasons]]\nyear = 2026")
    undecided = undecided[:start] + undecided[undecided.index("# --- What is counted", start) :]

    def opened(decision=""):
        entry = (
            f'\n[[protocol_decisions]]\nseason = 2025\nsite = "cedar_flat"\ntreatment = "netting"\n'
            f'decision = "{decision}"\nreason = "two weeks late"\n'
        )
        (folder / "study.toml").write_text(undecided + (entry if decision else ""))
        return open_across(folder)

    return opened


def test_an_undecided_protocol_is_flagged_and_asked_about(one_season):
    report = one_season()
    assert "not decided yet" in text_of(report.trials())
    assert "nobody has decided yet" in report.facts.sentences["cautions"]


def test_an_excluded_one_leaves_the_combined_answer_and_is_said_with_its_reason(one_season):
    report = one_season("exclude")
    assert "takes part without Netting" in text_of(report.trials())
    assert "excluded: two weeks late" in text_of(report.trials())
    assert "left out of the combined answer: two weeks late" in report.facts.sentences["cautions"]
    means = report.findings.pooled.means.set_index(["measure", "treatment"])["n"]
    assert means["marketable_yield", "kaolin"] - means["marketable_yield", "netting"] == 4
    assert "†" in report.forest_figure().caption
