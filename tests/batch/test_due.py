"""Whatever can change a report makes it due, and nothing else does."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from trialkit.batch import Request, due, run, survey
from trialkit.batch.own_code import OwnCode
from trialkit.batch.record import Record, description_of

FILES = ("report.ipynb", "report.html", "findings.csv", "plot_values.csv")


@pytest.fixture
def request_(study_folder: Path, notebooks: Path, tmp_path: Path) -> Request:
    (study_folder / "costs.csv").write_text("treatment,item\n")
    return Request(study_folder, tmp_path / "reports", notebooks=notebooks)


def finish(request: Request) -> None:
    """Leave what a render leaves, without rendering: the records of reports that are up to date."""
    for _ in range(2):  # the report across follows the findings of the others
        for standing in survey(request):
            folder = standing.target.folder(request.out / "eggplant_flea_beetle")
            folder.mkdir(parents=True, exist_ok=True)
            for name in FILES:
                (folder / name).write_text(f"{name} of {standing.target.key}")
            outputs = {name: description_of(folder / name) for name in FILES}
            record = Record({}, 1, standing.inputs, outputs)
            (folder / "record.json").write_bytes(record.to_bytes())


def due_now(request: Request) -> set[str]:
    return {standing.target.key for standing in survey(request) if standing.is_due}


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def edit_cell(path: Path, cell: str, change: Callable[[dict], None]) -> None:
    notebook = json.loads(path.read_text(encoding="utf-8"))
    change(next(item for item in notebook["cells"] if item["id"] == cell))
    path.write_text(json.dumps(notebook), encoding="utf-8")


def write(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")


WHOLE = {"across", "final"}
SITES = {"2024/alder_bench", "2024/cedar_flat"}
ALL = SITES | WHOLE
# A change, and the reports that it makes due; reports on the whole study follow those of its sites.
CHANGES = {
    "a cell of one site": (
        lambda r: edit(r.study / "data/2024/alder_bench/plots.csv", "101", "102"),
        {"2024/alder_bench"} | WHOLE,
    ),
    "a file more": (
        lambda r: write(r.study / "data/2024/cedar_flat/events.csv", "date,event\n"),
        {"2024/cedar_flat"} | WHOLE,
    ),
    "a file less": (
        lambda r: (r.study / "data/2024/cedar_flat/plots.csv").unlink(),
        {"2024/cedar_flat"} | WHOLE,
    ),
    "the narrative of one site": (
        lambda r: write(r.study / "narrative/2024/alder_bench.md", "Words."),
        {"2024/alder_bench"} | WHOLE,
    ),
    "the narrative across": (
        lambda r: write(r.study / "narrative/across.md", "Words."), {"across"}
    ),
    "costs": (lambda r: edit(r.study / "costs.csv", "item", "items"), WHOLE),
    "a wage": (lambda r: edit(r.study / "study.toml", "wage = 18.0", "wage = 19.0"), WHOLE),
    "the narrative of the final report": (
        lambda r: write(r.study / "narrative/final.md", "Words."), {"final"}
    ),
    "words of the final report's template": (
        lambda r: edit_cell(
            r.notebooks / "final_report.ipynb", "found", lambda c: c.update(source="## Found")
        ),
        {"final"},
    ),
    "corrections": (lambda r: write(r.study / "corrections.csv", "file,row\n"), ALL),
    "the seed": (lambda r: edit(r.study / "study.toml", "seed = 2024", "seed = 2025"), ALL),
    "a margin": (lambda r: edit(r.study / "study.toml", "margin = 30", "margin = 31"), ALL),
    "the level": (lambda r: edit(r.study / "study.toml", "level = 0.95", "level = 0.9"), ALL),
    "the units": (lambda r: edit(r.study / "study.toml", 'units = "us"', 'units = "si"'), ALL),
    "the title": (lambda r: edit(r.study / "study.toml", 'title = "', 'title = "So '), ALL),
    "one site's own entry": (
        lambda r: edit(r.study / "study.toml", 'name = "Cedar Flat"', 'name = "Cedar Flats"'),
        {"2024/cedar_flat"} | WHOLE,
    ),
    "a decision on another protocol": (
        lambda r: edit(
            r.study / "study.toml",
            "# --- Heat",
            '[[protocol_decisions]]\nseason = 2024\nsite = "cedar_flat"\ndecision = "exclude"\n'
            'reason = "covers tore"\n\n# --- Heat',
        ),
        {"2024/cedar_flat"} | WHOLE,
    ),
    "the season's dates": (
        lambda r: edit(r.study / "study.toml", "2024-09-30", "2024-09-29"), ALL
    ),
    "code of the template": (
        lambda r: edit_cell(
            r.notebooks / "site_season.ipynb", "last", lambda c: c.update(source="print('more')")
        ),
        ALL,
    ),
    "words of the template": (
        lambda r: edit_cell(
            r.notebooks / "site_season.ipynb", "found", lambda c: c.update(source="## Found")
        ),
        ALL,
    ),
    "code of the other template": (
        lambda r: edit_cell(
            r.notebooks / "across_sites.ipynb", "last", lambda c: c.update(source="print('more')")
        ),
        {"across"},
    ),
    "a page that was changed": (
        lambda r: write(r.out / "eggplant_flea_beetle/2024/alder_bench/report.html", "other"),
        {"2024/alder_bench"} | WHOLE,
    ),
    "findings that are gone": (
        lambda r: (r.out / "eggplant_flea_beetle/2024/alder_bench/findings.csv").unlink(),
        {"2024/alder_bench"} | WHOLE,
    ),
    "a failure before": (
        lambda r: write(
            r.out / "eggplant_flea_beetle/2024/alder_bench/failure.json", '{"faults": ["x"]}'
        ),
        {"2024/alder_bench"} | WHOLE,
    ),
    "a record that is no record": (
        lambda r: write(r.out / "eggplant_flea_beetle/across/record.json", "{"), {"across"}
    ),
}  # fmt: skip
NO_CHANGES = {
    "nothing": lambda r: None,
    "a comment in the study": lambda r: edit(
        r.study / "study.toml", "seed = 20240501", "seed = 20240501  # chosen by hand"
    ),
    "another licence for the archive": lambda r: edit(
        r.study / "study.toml", 'licence = "CC0-1.0"', 'licence = "CC-BY-4.0"'
    ),
    "a comment in code": lambda r: edit_cell(
        r.notebooks / "site_season.ipynb", "last", lambda c: c.update(source="print('done')  # so")
    ),
    "a tag": lambda r: edit_cell(
        r.notebooks / "site_season.ipynb", "last", lambda c: c["metadata"].update(tags=["mine"])
    ),
    "an output": lambda r: edit_cell(
        r.notebooks / "site_season.ipynb", "last", lambda c: c.update(outputs=[{"text": "x"}])
    ),
    "a file that was only touched": lambda r: (r.study / "data/2024/alder_bench/plots.csv").touch(),
    "a hidden file": lambda r: write(r.study / "data/2024/alder_bench/.~lock.plots.csv#", "x"),
}


@pytest.mark.parametrize("change", CHANGES)
def test_every_input_makes_due_what_depends_on_it(request_: Request, change: str) -> None:
    finish(request_)
    assert due_now(request_) == set()
    act, expected = CHANGES[change]
    act(request_)
    assert due_now(request_) == expected


@pytest.mark.parametrize("change", NO_CHANGES)
def test_what_cannot_reach_a_report_makes_nothing_due(request_: Request, change: str) -> None:
    finish(request_)
    NO_CHANGES[change](request_)
    assert due_now(request_) == set()


def test_another_version_of_a_library_makes_all_due(request_: Request, monkeypatch) -> None:
    finish(request_)
    real = due.metadata.version
    monkeypatch.setattr(
        due.metadata, "version", lambda name: "99" if name == "scipy" else real(name)
    )
    reasons = [standing.reasons for standing in survey(request_)]
    assert all(any(r.startswith("version of scipy: ") for r in each) for each in reasons)


def test_other_code_of_trialkit_makes_all_due(request_: Request, monkeypatch) -> None:
    finish(request_)
    monkeypatch.setattr(run, "own_code", lambda reports: OwnCode("other", "other"))
    assert due_now(request_) == ALL


def test_findings_that_stay_leave_the_report_across_alone(request_: Request) -> None:
    finish(request_)
    edit(request_.study / "data/2024/alder_bench/plots.csv", "101", "102")
    standings = {standing.target.key: standing for standing in survey(request_)}
    assert standings["across"].reasons == (
        "it follows if the findings of the 1 report(s) that are due move",
    )


def test_a_study_that_moved_is_named_anew(request_: Request) -> None:
    finish(request_)
    moved = request_.study.rename(request_.study.with_name("elsewhere"))
    other = Request(moved, request_.out, notebooks=request_.notebooks)
    assert due_now(other) == ALL


def test_force_makes_everything_due(request_: Request) -> None:
    finish(request_)
    forced = Request(request_.study, request_.out, force=True, notebooks=request_.notebooks)
    assert due_now(forced) == ALL
