"""One browser for the tests of a module; pages made from the notebooks as they are committed."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import nbformat
import pytest

import trialkit as tk
from trialkit.narrative.facts import Facts
from trialkit.narrative.weave import Before, weave
from trialkit.publish import IndexEntry, PageFacts, VerdictLine, index_page
from trialkit.publish.page import report_page
from trialkit.study import Study

NOTEBOOKS = Path(__file__).resolve().parents[2] / "notebooks"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Chromium without a window; the test is skipped where there is none.

    It ends with its module: while it runs, so does its event loop, and tests of kernels on the same
    worker could not start theirs.
    """
    found = next(filter(None, map(shutil.which, BROWSERS)), None)
    if found is None:
        pytest.skip("Chromium is not installed; these tests need a real browser")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as running:
        browser = running.chromium.launch(executable_path=found, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory, example_study: Study) -> dict[str, Path]:
    """The two kinds of report, from the executed notebooks, and an index, as files."""
    folder = tmp_path_factory.mktemp("pages")
    made = {
        "site_season": _report("site_season", example_study, _site_facts(example_study)),
        "across": _report("across_sites", example_study, _across_facts(example_study)),
        "index": index_page(example_study, list(_entries(example_study))),
    }
    paths = {name: folder / f"{name}.html" for name in made}
    for name, text in made.items():
        paths[name].write_text(text, encoding="utf-8")
    return paths


def _report(notebook: str, study: Study, facts: Facts) -> str:
    """The page as it is handed out: default sentences and numbers written into the notebook."""
    executed = nbformat.read(NOTEBOOKS / f"{notebook}.ipynb", as_version=4)
    page = nbformat.from_dict(weave(executed, facts, Before(), notebook).page)
    return report_page(page, PageFacts("A report", study.title, study.invented, "index.html"))


def _site_facts(study: Study) -> Facts:
    return tk.open_report(study=str(study.folder), season=2025, site="alder_bench").facts


def _across_facts(study: Study) -> Facts:
    return tk.open_across(study=str(study.folder)).facts


def _entries(study: Study) -> Iterator[IndexEntry]:
    verdicts = tuple(
        VerdictLine(measure.id, "netting", "worthwhile", "better")
        for measure in study.measures
        if measure.primary
    )
    yield IndexEntry(None, None, "across.html", "ready", verdicts=verdicts)
    yield IndexEntry(2025, "alder_bench", "site_season.html", "stale", verdicts=verdicts)
    yield IndexEntry(2025, "cedar_flat", "", "failed", ("data/2025/x.csv:3:block: empty.",))
