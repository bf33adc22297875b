"""Archiving with little notebooks: what is refused, what is told, what is left behind."""

import datetime as dt
import errno
import json
from dataclasses import replace
from pathlib import Path

import pytest

from trialkit.batch import Request, render
from trialkit.batch import archive as archiving
from trialkit.batch.archive import archive
from trialkit.batch.own_wheel import write_own_wheel
from trialkit.errors import StudyError, TrialkitError

MADE = dt.date(2026, 11, 5)
PLOTS = "plot,block,treatment\n101,1,check\n"


@pytest.fixture
def request_(study_folder: Path, notebooks: Path, tmp_path: Path) -> Request:
    return Request(study_folder, tmp_path / "reports", workers=1, notebooks=notebooks)


@pytest.fixture
def farm(study_folder: Path) -> Path:
    return study_folder / "data/2024/cedar_flat"


def archives(request: Request) -> Path:
    return request.out / "eggplant_flea_beetle" / "archives"


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_a_report_that_cannot_be_rendered_is_told_and_the_rest_is_archived(request_, farm) -> None:
    (farm / "plots.csv").write_text("bad\n")
    made = archive(request_, MADE, private=True)
    assert made.missing == ("Cedar Flat 2024",)
    assert "Cedar Flat 2024" in (made.folder / "README.md").read_text(encoding="utf-8")
    assert not list(made.folder.rglob("fail*"))
    assert (made.folder / "study/data/2024/cedar_flat/plots.csv").read_text() == "bad\n"
    assert "errors" in [note.code for note in made.notes]
    assert "no row near the top" in (made.folder / "tables/problems.csv").read_text()


def test_nothing_of_a_study_that_cannot_be_read_is_archived(request_) -> None:
    edit(request_.study / "study.toml", "check = true\n", "check = false\n")
    with pytest.raises(StudyError, match="exactly one treatment"):
        archive(request_, MADE)
    assert not request_.out.exists()


@pytest.mark.parametrize("within", ["data", "data/2024", "narrative/x", "private"])
def test_an_archive_does_not_go_into_what_it_archives(request_, within) -> None:
    inside = replace(request_, out=request_.study / within)
    with pytest.raises(TrialkitError, match="inside the study's own folder"):
        archive(inside, MADE)


def test_a_second_archive_of_a_day_is_refused_before_anything_is_rendered(request_) -> None:
    archives(request_).mkdir(parents=True)
    (archives(request_) / "eggplant_flea_beetle_2026-11-05.zip").write_text("mine")
    with pytest.raises(TrialkitError, match="an archive of this day already"):
        archive(request_, MADE)
    assert [path.name for path in archives(request_).parent.iterdir()] == ["archives"]


def test_a_full_disk_is_told_and_leaves_nothing_behind(request_, monkeypatch) -> None:
    def full(folder: Path, target: Path) -> None:
        raise OSError(errno.ENOSPC, "No space left on device", str(target))

    monkeypatch.setattr(archiving, "write_zip", full)
    with pytest.raises(TrialkitError, match="no space left on device"):
        archive(request_, MADE)
    assert list(archives(request_).iterdir()) == []


def test_a_place_that_cannot_be_written_is_told(request_) -> None:
    archives(request_).parent.mkdir(parents=True)
    archives(request_).write_text("a file, where the folder should be")
    with pytest.raises(TrialkitError, match="cannot be written"):
        archive(request_, MADE)


@pytest.mark.parametrize("name", ["x\ny.csv", "x\\..\\y.csv", "x\u202evsc.exe", "a:b.csv"])
def test_a_name_that_could_not_be_unpacked_stops_the_private_archive(request_, farm, name) -> None:
    (farm / name).write_text("x")
    with pytest.raises(StudyError, match="could not be unpacked everywhere"):
        archive(request_, MADE, private=True)
    assert list(archives(request_).iterdir()) == []


def test_such_a_name_is_not_in_the_coded_archive_at_all(request_, farm) -> None:
    (farm / "x\ny.csv").write_text("x")
    made = archive(request_, MADE)
    assert made.missing == ()
    assert not [path for path in made.folder.rglob("*") if "\n" in path.name]


def test_a_private_name_in_a_text_stops_the_archive(request_) -> None:
    texts = request_.study / "narrative" / "2024"
    texts.mkdir(parents=True)
    (texts / "extra.md").write_text("Write to ada@example.org for the map.\n")
    with pytest.raises(StudyError, match=r"ada@example\.org"):
        archive(request_, MADE)
    assert list(archives(request_).iterdir()) == []


def test_a_copy_that_is_not_read_as_the_study_is_stops_the_archive(request_, monkeypatch) -> None:
    def spoilt(study, edition, folder) -> None:
        copying(study, edition, folder)
        (path,) = (folder / "data/2024/alder_bench").glob("plots.csv")
        path.write_text(path.read_text() + "102,1,netting\n")

    copying = archiving.copy_study
    monkeypatch.setattr(archiving, "copy_study", spoilt)
    with pytest.raises(TrialkitError, match="is not read as the study is"):
        archive(request_, MADE)


def test_words_edited_in_a_notebook_since_the_last_render_are_archived(request_) -> None:
    template = request_.templates / "site_season.ipynb"
    edit(template, '"metadata": {}', '"metadata": {"tags": ["narrative"]}')
    render(request_)
    report = request_.out / "eggplant_flea_beetle/2024/alder_bench/report.ipynb"
    notebook = json.loads(report.read_text(encoding="utf-8"))
    (cell,) = [one for one in notebook["cells"] if one["id"] == "found"]
    cell["source"] = "## What was found\n\nThe beetles came late."
    report.write_text(json.dumps(notebook), encoding="utf-8")
    made = archive(request_, MADE, private=True)
    page = made.folder / "reports/eggplant_flea_beetle/2024/alder_bench/report.html"
    assert "The beetles came late." in page.read_text(encoding="utf-8")
    text = made.folder / "study/narrative/2024/alder_bench.md"
    assert "The beetles came late." in text.read_text(encoding="utf-8")


def test_the_wheel_of_the_archive_holds_the_code_that_runs_and_no_example(tmp_path) -> None:
    import zipfile

    wheel = write_own_wheel(tmp_path)
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        assert "trialkit/batch/own_wheel.py" in names
        assert "trialkit/_notebooks/site_season.ipynb" in names
        assert not [name for name in names if "_data_examples" in name or ".pyc" in name]
        record = packed.read(next(name for name in names if name.endswith("/RECORD"))).decode()
        assert {line.split(",")[0] for line in record.splitlines()} == set(names)
        metadata = packed.read("trialkit-0.1.0.dist-info/METADATA").decode()
    assert "Requires-Dist: pandas" in metadata
