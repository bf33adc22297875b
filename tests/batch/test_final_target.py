"""The final report in the batch: its words are kept, the index leads to it, editions hold it."""

import json
from pathlib import Path

import nbformat
import pytest

from trialkit.batch import Request, render
from trialkit.batch.share import share
from trialkit.errors import TrialkitError

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


def type_outreach(request_: Request, text: str) -> Path:
    """Edit the outreach words in the notebook of the final report; return the report's folder."""
    folder = request_.out / "eggplant_flea_beetle" / "final"
    notebook = json.loads((folder / "report.ipynb").read_bytes())
    next(c for c in notebook["cells"] if c["id"] == "outreach")["source"] = text
    (folder / "report.ipynb").write_text(json.dumps(notebook), encoding="utf-8")
    return folder


def test_outreach_numbers_typed_into_the_final_report_outlive_a_render(request_) -> None:
    summary = render(request_)
    assert 'href="final/report.html"' in summary.index.read_text(encoding="utf-8")
    folder = type_outreach(request_, REACHED)
    again = render(request_)
    assert [outcome.target.key for outcome in again.outcomes] == ["final"]
    assert "85 growers" in (folder / "report.html").read_text(encoding="utf-8")
    assert "85 growers" in (request_.study / "narrative/final.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["funder", "public"])
def test_an_edition_hands_out_words_edited_since_the_last_render(request_, kind) -> None:
    render(request_)
    type_outreach(request_, REACHED)
    (index,) = share(request_, kind)
    assert (request_.study / "narrative/final.md").is_file()
    assert 'href="final/report.html"' in index.read_text(encoding="utf-8")
    assert "85 growers" in (index.parent / "final/report.html").read_text(encoding="utf-8")


def test_words_that_wait_for_a_decision_stop_an_edition(request_) -> None:
    render(request_)
    type_outreach(request_, "First words.")
    render(request_)
    type_outreach(request_, "Words in the notebook.")
    words = request_.study / "narrative/final.md"
    text = words.read_text("utf-8").replace("First words.", "Words in the file.")
    words.write_text(text, encoding="utf-8")
    with pytest.raises(TrialkitError, match=r"final\.md"):
        share(request_, "public")
