"""Faults name files as they lie in the study folder, however the notebook reached them."""

from pathlib import Path

import pytest

from trialkit.batch.execute import CellFault
from trialkit.batch.targets import Target
from trialkit.batch.work import Task, fault_lines
from trialkit.publish import PageFacts


@pytest.fixture
def task(tmp_path):
    return Task(
        target=Target(2025, "cedar_flat", "Cedar Flat 2025"),
        template=Path("site_season.ipynb"),
        study=tmp_path / "study",
        folder=tmp_path / "reports" / "study" / "2025" / "cedar_flat",
        facts=PageFacts("a", "b", True, "index.html"),
        inputs={},
        versions={},
        seed=1,
        timeout=1.0,
    )


def lines_of(task, text):
    return fault_lines(CellFault(2, "report = open_report()", "DataError", text), task)


def test_a_file_is_named_from_the_study_folder(task):
    seen = "../../../../study/data/2025/cedar_flat/plots.csv:3:block: it is empty. Fill it in."
    (line,) = lines_of(task, seen)
    assert line == "data/2025/cedar_flat/plots.csv:3:block: it is empty. Fill it in."


def test_a_fault_without_a_file_points_at_the_site_season(task):
    (line,) = lines_of(task, "Only 0 site-seasons can be used.")
    assert line == "data/2025/cedar_flat::: Only 0 site-seasons can be used."
