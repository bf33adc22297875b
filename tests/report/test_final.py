"""The final report: the same from finished reports as from field files, whole without costs."""

import shutil
from pathlib import Path

import pandas as pd
import pytest

import trialkit as tk
from trialkit.errors import AnalysisError
from trialkit.intake import Background
from trialkit.intake.background import read_background, write_background
from trialkit.report.display import Several

EXAMPLE = Path(__file__).resolve().parents[2] / "data_examples" / "eggplant_flea_beetle"
PARTS = (
    "heading", "done", "forest_figures", "travel", "robustness_figures", "money",
    "price_cost_figure", "recommendation", "still_open", "names", "end_matter",
)  # fmt: skip


@pytest.fixture(scope="module")
def report(handed_on):
    return tk.open_final(EXAMPLE, handed_on)


@pytest.fixture
def copy(tmp_path) -> Path:
    """A study of its own whose money can be taken away."""
    folder = tmp_path / "study"
    folder.mkdir()
    for name in ("study.toml", "costs.csv"):
        shutil.copy(EXAMPLE / name, folder)
    return folder


def told(report, part: str) -> str:
    shown = getattr(report, part)()
    parts = shown.parts if isinstance(shown, Several) else (shown,)
    return str([one._repr_mimebundle_() for one in parts])


def test_finished_reports_and_field_files_give_the_same_numbers(report):
    fresh = tk.open_final(EXAMPLE)
    pd.testing.assert_frame_equal(report.answers.together.budget, fresh.answers.together.budget)
    pd.testing.assert_frame_equal(report.findings.pooled.effects, fresh.findings.pooled.effects)
    pd.testing.assert_frame_equal(report.evidence.weather, fresh.evidence.weather)
    assert report.evidence.hours == fresh.evidence.hours
    assert report.evidence.departed == fresh.evidence.departed
    assert report.answers.recommendations[0].decision == fresh.answers.recommendations[0].decision


def test_every_part_of_the_final_report_shows_something(report):
    for part in PARTS:
        assert len(told(report, part)) > 60, part


def test_a_study_without_costs_is_reported_whole_and_says_what_is_missing(copy, handed_on):
    (copy / "costs.csv").unlink()
    bare = tk.open_final(copy, handed_on)
    assert "has no costs in costs.csv" in told(bare, "money")
    assert "cannot be judged" not in told(bare, "recommendation")
    for part in PARTS:
        assert told(bare, part), part


def test_a_study_without_prices_says_so(copy, handed_on):
    text = (copy / "study.toml").read_text(encoding="utf-8")
    head, tail = text.split("[economics]", 1)
    tail = tail[tail.index("# --- Layout") :]
    (copy / "study.toml").write_text(head + tail, encoding="utf-8")
    bare = tk.open_final(copy, handed_on)
    assert "no [economics], so prices are not known" in told(bare, "money")
    assert "no treatment can be put first" in told(bare, "price_cost_figure")


def test_a_wrong_price_is_told_with_its_place_and_the_rest_stands(copy, handed_on):
    text = (copy / "study.toml").read_text(encoding="utf-8")
    wrong = text.replace("marketable = 0.55", 'marketable = "0.55 EUR"')
    (copy / "study.toml").write_text(wrong, encoding="utf-8")
    row = 1 + wrong[: wrong.index("0.55 EUR")].count("\n")
    bare = tk.open_final(copy, handed_on)
    assert f"study.toml:{row}:economics.prices.marketable: " in told(bare, "money")
    assert "is in EUR" in told(bare, "money")
    assert "Does it depend" in told(bare, "still_open")


def test_one_finished_place_is_too_little(copy, tmp_path):
    with pytest.raises(AnalysisError, match="two finished site-seasons"):
        tk.open_final(copy, tmp_path / "nothing")


def test_what_is_handed_on_comes_back_as_it_was(tmp_path):
    told = Background({"net": {"cover_on": 0.1 + 0.2}}, 3.0, None, {"101": 1 / 3}, "the same")
    write_background(tmp_path, told, None)
    found, record = read_background(tmp_path, tmp_path)
    assert found == told
    assert record.path == "background.json"
