"""A study laid out as a split plot is analysed as one in its reports, and they say so."""

import shutil
from pathlib import Path

import pytest

import trialkit as tk

BETWEEN = "those of different whole plots by that between whole plots as well"
BY_PAIRS = "each other treatment on its own plots and those of the check alone"
WHOLE_PLOTS = (
    'design = "split_plot"\n'
    'whole_plots = { bare = ["check", "netting", "kaolin"], covered = ["silver_mulch", "clover"] }'
)


@pytest.fixture(scope="module")
def split(example_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the example with treatments said to have been laid out in whole plots."""
    folder = tmp_path_factory.mktemp("split") / "study"
    shutil.copytree(example_folder, folder, ignore=shutil.ignore_patterns("reports", "narrative"))
    toml = (folder / "study.toml").read_text(encoding="utf-8")
    changed = toml.replace('design = "complete_blocks"', WHOLE_PLOTS)
    assert changed != toml
    (folder / "study.toml").write_text(changed, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def reports(split: Path, example_folder: Path):
    return {name: tk.open_report(folder, 2024, "alder_bench")
            for name, folder in (("split", split), ("blocks", example_folder))}  # fmt: skip


def test_every_measure_names_its_split_plot_method(reports):
    analyses = reports["split"].findings.analyses
    assert {reports["split"].study.measure(m).family for m in analyses} >= {"count", "normal"}
    for analysis in analyses.values():
        assert BETWEEN in analysis.model.method or BY_PAIRS in analysis.model.method


def test_the_methods_section_says_it_on_the_page(reports):
    page = reports["split"].end_matter()._repr_mimebundle_()["text/markdown"]
    assert BETWEEN in page
    assert BY_PAIRS in page
    assert "bare (check, kaolin, netting); covered (clover, silver_mulch)" in page
    blocks = reports["blocks"].end_matter()._repr_mimebundle_()["text/markdown"]
    assert "whole plot" not in blocks


def test_comparisons_between_whole_plots_have_other_degrees_of_freedom_than_those_within(reports):
    effects = reports["split"].findings.effects
    one = effects[effects["measure"] == "marketable_yield"].set_index("treatment")
    assert one.loc["silver_mulch", "df"] != pytest.approx(one.loc["netting", "df"])
    assert one.loc["silver_mulch", "df"] == pytest.approx(one.loc["clover", "df"])


def test_the_combined_report_compares_between_whole_plots_by_pairs(split):
    pooled = tk.open_across(split).findings.pooled
    assert len(pooled.analyses) > 3
    for analysis in pooled.analyses.values():
        assert BY_PAIRS in analysis.model.method
    assert not pooled.effects["verdict"].isna().any()
