"""The final report in the batch: its words are kept, the index leads to it, editions hold it."""

import json

import nbformat
import pytest

from trialkit.batch import Request, render
from trialkit.batch.share import share

REACHED = "## Outreach\n\nTwo field days, 85 growers."


@pytest.fixture
def request_(study_folder, notebooks, tmp_path) -> Request:
    path = notebooks / "final_report.ipynb"
    notebook = nbformat.read(path, as_version=4)
    outreach = nbformat.v4.new_markdown_cell("## Outreach\n\nTo be typed.", id="outreach")
    outreach.metadata["tags"] = ["narrative"]
    notebook.cells.append(outreach)
    nbformat.write(notebook, path)
    return Request(study_folder, tmp_path / "reports", workers=1, notebooks=notebooks)


def test_outreach_numbers_typed_into_the_final_report_outlive_a_render(request_) -> None:
    summary = render(request_)
    folder = summary.index.parent / "final"
    assert 'href="final/report.html"' in summary.index.read_text(encoding="utf-8")
    notebook = json.loads((folder / "report.ipynb").read_bytes())
    next(c for c in notebook["cells"] if c["id"] == "outreach")["source"] = REACHED
    (folder / "report.ipynb").write_text(json.dumps(notebook), encoding="utf-8")
    again = render(request_)
    assert [outcome.target.key for outcome in again.outcomes] == ["final"]
    assert "85 growers" in (folder / "report.html").read_text(encoding="utf-8")
    assert "85 growers" in (request_.study / "narrative/final.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["funder", "public"])
def test_an_edition_hands_out_the_final_report_with_its_words(request_, kind) -> None:
    folder = request_.study / "narrative"
    render(request_)
    report = request_.out / "eggplant_flea_beetle/final/report.ipynb"
    notebook = json.loads(report.read_bytes())
    next(c for c in notebook["cells"] if c["id"] == "outreach")["source"] = REACHED
    report.write_text(json.dumps(notebook), encoding="utf-8")
    render(request_)
    assert (folder / "final.md").is_file()
    (index,) = share(request_, kind)
    assert 'href="final/report.html"' in index.read_text(encoding="utf-8")
    assert "85 growers" in (index.parent / "final/report.html").read_text(encoding="utf-8")
