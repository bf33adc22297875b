"""Renders keep people's words on the disk: edits, decisions, claims, changes, confirming."""

import json
import pickle
from pathlib import Path

import nbformat
import nbformat.v4 as nb4
import pytest

from tests.narrative.facts_for_tests import BETTER, WORSE, facts_of
from trialkit.batch import Request, changes_of, confirm_words, render, survey
from trialkit.batch.check_words import typed_numbers
from trialkit.batch.parcel import make_from_parcel, pack, unpack
from trialkit.batch.run import task_of
from trialkit.batch.targets import across_of, targets_of
from trialkit.errors import TrialkitError
from trialkit.study import read_study

KEY = "2024/alder_bench"
COPY = """
from pathlib import Path
if output:
    plots = (Path(study) / "data" / str(season) / site / "plots.csv").read_text()
    facts = Path(study) / ("worse.json" if "worse" in plots else "better.json")
    (Path(output) / "facts.json").write_bytes(facts.read_bytes())
    (Path(output) / "findings.csv").write_text("measure,treatment,verdict,direction" + chr(10))
"""


@pytest.fixture
def render_all(study_folder: Path, notebooks: Path, tmp_path: Path):
    """A render of the small study whose site-season notebook copies facts made by hand."""
    (study_folder / "better.json").write_bytes(facts_of(BETTER).to_bytes())
    (study_folder / "worse.json").write_bytes(facts_of(WORSE).to_bytes())
    path = notebooks / "site_season.ipynb"
    notebook = nbformat.read(path, as_version=4)
    notebook.cells[0].metadata["tags"] = ["narrative"]
    notebook.cells[2].source = COPY
    sentences = nb4.new_markdown_cell("{sentences}`findings`", id="findings")
    sentences.metadata["tags"] = ["narrative"]
    notebook.cells.append(sentences)
    nbformat.write(notebook, path)

    def run(**options):
        plain = {"out": tmp_path / "reports", "workers": 1, "notebooks": notebooks}
        return render(Request(study_folder, **{**plain, **options}))

    run()
    return run


def report(tmp_path: Path, name: str, out: str = "reports") -> Path:
    return tmp_path / out / "eggplant_flea_beetle" / KEY / name


def edit(tmp_path: Path, cell: str, text: str, out: str = "reports") -> None:
    path = report(tmp_path, "report.ipynb", out)
    notebook = json.loads(path.read_bytes())
    next(c for c in notebook["cells"] if c["id"] == cell)["source"] = text
    path.write_text(json.dumps(notebook))


def file_of(study_folder: Path) -> Path:
    return study_folder / "narrative" / f"{KEY}.md"


def test_a_study_in_which_nobody_wrote_is_left_as_it_is(render_all, study_folder):
    assert not (study_folder / "narrative").exists()


def test_the_default_sentences_are_in_notebook_and_page(render_all, tmp_path):
    page = report(tmp_path, "report.html").read_text(encoding="utf-8")
    assert "Flea beetle days came out lower" in page
    assert "{claim}`Flea beetle days" in report(tmp_path, "report.ipynb").read_text("utf-8")


def test_an_edit_is_kept_beside_the_study_and_then_nothing_is_due(
    render_all, study_folder, tmp_path
):
    edit(tmp_path, "found", "## Mine")
    summary = render_all()
    assert [outcome.target.key for outcome in summary.outcomes] == [KEY]
    assert "## Mine" in file_of(study_folder).read_text(encoding="utf-8")
    assert "<h2" in report(tmp_path, "report.html").read_text(encoding="utf-8")
    assert render_all().outcomes == ()
    file_of(study_folder).write_text(file_of(study_folder).read_text().replace("Mine", "Theirs"))
    render_all()
    assert "## Theirs" in report(tmp_path, "report.ipynb").read_text(encoding="utf-8")


def test_an_edit_in_both_places_asks_for_a_decision_until_one_is_made(
    render_all, study_folder, tmp_path
):
    edit(tmp_path, "found", "## Mine")
    render_all()
    edit(tmp_path, "found", "## From the notebook")
    path = file_of(study_folder)
    path.write_text(path.read_text().replace("## Mine", "## From the file"))
    (undecided,) = render_all().undecided
    assert "two versions" in undecided.errors[0]
    text = path.read_text()
    assert "## From the file" in text
    assert "## From the notebook" in text
    assert render_all().undecided


def test_flipped_data_mark_the_claim_in_page_index_and_summary(render_all, study_folder, tmp_path):
    edit(tmp_path, "found", "{claim}`Netting keeps beetles off <netting lowers beetles>`.")
    assert render_all().unsupported == ()
    plots = study_folder / "data" / KEY / "plots.csv"
    plots.write_text(f"{plots.read_text()}102,1,worse\n")
    summary = render_all()
    (words,) = summary.unsupported
    assert words.claims[0]["standing"] == "contradicted"
    page = report(tmp_path, "report.html").read_text(encoding="utf-8")
    assert "Contradicted by the data" in page
    assert "Flea beetle days came out higher" in page
    assert "Netting keeps beetles off" in summary.index.read_text(encoding="utf-8")
    assert render_all().unsupported, "it is told as long as it stands, rendered or not"


def test_changes_tell_what_flipped_and_why(render_all, study_folder, tmp_path):
    plots = study_folder / "data" / KEY / "plots.csv"
    plots.write_text(f"{plots.read_text()}102,1,worse\n")
    summary = render_all()
    target = targets_of(summary.study)[0]
    found = changes_of(target, tmp_path / "reports" / "eggplant_flea_beetle")
    assert [move.flipped for move in found.moves] == [True]
    assert [(cause.kind, cause.names) for cause in found.causes] == [
        ("data", (f"data/{KEY}/plots.csv",))
    ]
    assert changes_of(across_of(summary.study), tmp_path / "nowhere") is None


def test_stale_numbers_are_told_until_they_are_confirmed(render_all, study_folder, tmp_path):
    edit(tmp_path, "found", "So: {eval}`netting.beetles.change`.")
    render_all()
    plots = study_folder / "data" / KEY / "plots.csv"
    plots.write_text(f"{plots.read_text()}102,1,worse\n")
    summary = render_all()
    assert "Numbers changed since" in report(tmp_path, "report.html").read_text(encoding="utf-8")
    reports = tmp_path / "reports" / "eggplant_flea_beetle"
    target = targets_of(summary.study)[0]
    assert confirm_words(target, study_folder, reports) == ("found",)
    assert [outcome.target for outcome in render_all().outcomes] == [target]
    page = report(tmp_path, "report.html").read_text(encoding="utf-8")
    assert "Numbers changed since" not in page
    assert confirm_words(target, study_folder, reports) == ()


def test_words_are_woven_in_here_when_the_notebook_ran_elsewhere(
    render_all, study_folder, notebooks, tmp_path
):
    edit(tmp_path, "found", "## Mine")
    request = Request(study_folder, tmp_path / "reports", workers=1, notebooks=notebooks)
    (standing,) = [one for one in survey(request) if one.target.key == KEY]
    task = task_of(standing, read_study(study_folder), request)
    delivery = pickle.loads(pickle.dumps(make_from_parcel(pack(task))))
    assert not unpack(delivery, task).failed
    assert "## Mine" in file_of(study_folder).read_text(encoding="utf-8")
    assert "## Mine" in report(tmp_path, "report.ipynb").read_text(encoding="utf-8")
    assert render_all().outcomes == ()


def test_a_notebook_that_was_saved_half_is_never_overwritten(render_all, tmp_path):
    path = report(tmp_path, "report.ipynb")
    path.write_text('{"cells": [')
    (failed,) = render_all().failed
    assert "this is not a notebook" in failed.faults[0]
    assert path.read_text() == '{"cells": ['


def test_two_reports_folders_share_the_words(render_all, tmp_path):
    render_all(out=tmp_path / "other")
    edit(tmp_path, "found", "## By the first")
    render_all()
    edit(tmp_path, "findings", "By the second.", out="other")
    render_all(out=tmp_path / "other")
    text = report(tmp_path, "report.ipynb", "other").read_text(encoding="utf-8")
    assert "## By the first" in text
    assert "By the second." in text


def test_a_typed_number_is_noted_with_the_name_that_it_means(render_all, study_folder, tmp_path):
    edit(tmp_path, "found", "Netting cut beetles by 62 %.")
    summary = render_all()
    reports = tmp_path / "reports" / "eggplant_flea_beetle"
    (note,) = typed_numbers(summary.study, reports)
    assert note.severity == "note"
    assert "netting.beetles.change" in note.remedy
    lines = file_of(study_folder).read_text(encoding="utf-8").split("\n")
    assert "62 %" in lines[note.row - 1]


def test_confirming_a_report_that_was_never_rendered_says_so(render_all, study_folder, tmp_path):
    edit(tmp_path, "found", "## Mine")
    summary = render_all()
    with pytest.raises(TrialkitError, match="never rendered"):
        confirm_words(targets_of(summary.study)[0], study_folder, tmp_path / "nowhere")
