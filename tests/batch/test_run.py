"""A render makes what is due, carries on past what fails, and says what to mend."""

import json
from pathlib import Path

import pytest

from trialkit.batch import Request, render, survey
from trialkit.errors import TrialkitError


@pytest.fixture
def request_for(study_folder: Path, notebooks: Path, tmp_path: Path):
    def make(**options) -> Request:
        plain = {"out": tmp_path / "reports", "workers": 1, "notebooks": notebooks}
        return Request(study_folder, **{**plain, **options})

    return make


def reports_of(tmp_path: Path) -> Path:
    return tmp_path / "reports" / "eggplant_flea_beetle"


def test_every_report_and_the_index_are_made_and_then_nothing_is_due(request_for, tmp_path) -> None:
    summary = render(request_for())
    assert [o.target.key for o in summary.outcomes] == [
        "2024/alder_bench",
        "2024/cedar_flat",
        "final",
        "across",
    ]
    assert not summary.failed
    for key in ("2024/alder_bench", "2024/cedar_flat", "final", "across"):
        names = {path.name for path in (reports_of(tmp_path) / key).iterdir()}
        assert names == {"report.ipynb", "report.html", "findings.csv", "record.json"}
    assert "Worthwhile" in summary.index.read_text(encoding="utf-8")
    again = render(request_for())
    assert again.outcomes == ()
    assert len(again.not_due) == 4
    assert not list(reports_of(tmp_path).rglob(".unfinished-*"))


def test_a_failing_site_season_does_not_stop_the_others(
    request_for, study_folder, tmp_path
) -> None:
    (study_folder / "data/2024/alder_bench/plots.csv").write_text("bad\n")
    summary = render(request_for())
    (failed,) = summary.failed
    assert failed.faults == ("data/2024/alder_bench/plots.csv:2:block: it is bad. Mend it.",)
    index = summary.index.read_text(encoding="utf-8")
    assert failed.faults[0] in index
    assert (reports_of(tmp_path) / "2024/cedar_flat/report.html").is_file()
    assert (reports_of(tmp_path) / "2024/alder_bench/failed.ipynb").is_file()
    assert not (reports_of(tmp_path) / "2024/alder_bench/report.html").exists()


def test_an_earlier_report_outlives_a_failed_render(request_for, study_folder, tmp_path) -> None:
    render(request_for())
    page = reports_of(tmp_path) / "2024/alder_bench/report.html"
    before = page.read_bytes()
    plots = study_folder / "data/2024/alder_bench/plots.csv"
    good = plots.read_text()
    plots.write_text("broken\n")
    summary = render(request_for())
    assert "ZeroDivisionError: division by zero" in summary.failed[0].faults[0]
    assert page.read_bytes() == before
    assert "earlier render" in summary.index.read_text(encoding="utf-8")
    plots.write_text(good)
    assert not render(request_for()).failed
    assert not (page.parent / "failed.ipynb").exists()


def test_two_renders_are_the_same_bytes_but_for_the_record(request_for, tmp_path) -> None:
    render(request_for())
    render(request_for(out=tmp_path / "reports2"))
    for path in reports_of(tmp_path).rglob("*"):
        if path.is_file() and path.name not in ("record.json", ".lock"):
            other = tmp_path / "reports2" / path.relative_to(tmp_path / "reports")
            assert path.read_bytes() == other.read_bytes(), path.name


def test_the_kept_notebook_names_the_study_from_its_own_folder(request_for, tmp_path) -> None:
    render(request_for(site="alder_bench"))
    folder = reports_of(tmp_path) / "2024/alder_bench"
    notebook = json.loads((folder / "report.ipynb").read_text(encoding="utf-8"))
    injected = next(c for c in notebook["cells"] if c["id"] == "injected-parameters")
    assert "study = '../../../../study'" in injected["source"]
    assert "output = ''" in injected["source"]
    assert (folder / "../../../../study/study.toml").is_file()
    assert "papermill" not in json.dumps(notebook["metadata"])


def test_choosing_one_site_leaves_the_rest_and_says_so(request_for, tmp_path) -> None:
    summary = render(request_for(site="cedar_flat"))
    assert [outcome.target.key for outcome in summary.outcomes] == ["2024/cedar_flat"]
    assert summary.index.read_text(encoding="utf-8").count("Not rendered yet") == 3


def test_an_unknown_site_or_season_is_told_with_the_known_ones(request_for) -> None:
    with pytest.raises(TrialkitError, match=r"no site 'nowhere'.*alder_bench"):
        render(request_for(site="nowhere"))
    with pytest.raises(TrialkitError, match=r"no season '1999'.*2024"):
        render(request_for(season=1999))


def test_a_hanging_cell_is_stopped_and_told(request_for, study_folder) -> None:
    (study_folder / "data/2024/alder_bench/plots.csv").write_text("hang\n")
    summary = render(request_for(site="alder_bench", timeout=2.0))
    assert "CellTimeoutError: it took longer than 2 s" in summary.failed[0].faults[0]
    assert summary.failed[0].faults[0].startswith("data/2024/alder_bench::: cell 4 (from pathlib")


def test_a_kernel_that_dies_is_told(request_for, study_folder) -> None:
    (study_folder / "data/2024/alder_bench/plots.csv").write_text("die\n")
    (fault,) = render(request_for(site="alder_bench")).failed[0].faults
    assert "DeadKernelError" in fault


def test_the_record_says_what_went_in_and_what_came_out(request_for, tmp_path) -> None:
    render(request_for(site="alder_bench"))
    record = json.loads((reports_of(tmp_path) / "2024/alder_bench/record.json").read_text())
    assert record["parameters"]["season"] == 2024
    assert len(record["inputs"]["data/2024/alder_bench/plots.csv"]) == 64
    assert set(record["outputs"]) == {"report.ipynb", "report.html", "findings.csv"}
    assert record["verdicts"][0]["verdict"] == "worthwhile"
    assert {"python", "pandas", "trialkit"} <= set(record["versions"])
    assert all(cell["seconds"] >= 0 for cell in record["cells"])


def test_a_survey_says_why_each_report_is_due(request_for, study_folder) -> None:
    assert all(standing.reasons == ("it was never rendered",) for standing in survey(request_for()))
    render(request_for())
    (study_folder / "data/2024/cedar_flat/plots.csv").write_text("plot\n")
    alder, cedar, final, across = survey(request_for())
    assert not alder.is_due
    assert cedar.reasons == ("data/2024/cedar_flat/plots.csv changed",)
    assert final.is_due
    assert across.is_due


def test_a_study_in_its_first_season_waits_for_no_final_report(request_for, study_folder) -> None:
    text = (study_folder / "study.toml").read_text(encoding="utf-8")
    unfinished = text.replace("year = 2024", "year = 2024\nfinished = false")
    (study_folder / "study.toml").write_text(unfinished, encoding="utf-8")
    keys = [standing.target.key for standing in survey(request_for())]
    assert keys == ["2024/alder_bench", "2024/cedar_flat", "across"]
