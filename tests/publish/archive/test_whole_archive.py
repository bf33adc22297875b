"""An archive as a repository and a stranger meet it: checked by others' tools, rendered again."""

import csv
import io
import json
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.publish.archive.marked_study import MADE, MARKERS
from trialkit.batch.archive import Archived, archive
from trialkit.batch.due import versions
from trialkit.batch.run import Request
from trialkit.errors import TrialkitError
from trialkit.intake import check_study
from trialkit.publish.archive import Deposit, write_zip
from trialkit.publish.archive.write import write_archive
from trialkit.study import read_study

# The notebook and its page say where the study stands, which is the same from "again" too.
MADE_AGAIN = ("findings.csv", "plot_values.csv", "facts.json", "report.html", "report.ipynb")
KINDS = ("coded", "private")


@pytest.fixture(params=KINDS)
def made(request: pytest.FixtureRequest) -> Archived:
    return request.getfixturevalue(request.param)


def test_frictionless_finds_every_table_as_described(made: Archived) -> None:
    from frictionless import Package

    report = Package(str(made.folder / "datapackage.json")).validate()
    assert report.stats["tasks"] > 30
    assert report.valid, report.flatten(["path", "rowNumber", "type", "note"])[:9]


def test_frictionless_does_object_to_a_table_that_was_changed(coded: Archived, tmp_path) -> None:
    from frictionless import Package

    changed = Path(shutil.copytree(coded.folder, tmp_path / "changed"))
    plots = changed / "tables" / "plots.csv"
    plots.write_text(plots.read_text(encoding="utf-8").replace(",netting,", ",nettting,", 1))
    found = Package(str(changed / "datapackage.json")).validate().flatten(["type"])
    assert {"foreign-key"} <= {kind for (kind,) in found}
    assert {"hash-count"} <= {kind for (kind,) in found}


def test_the_crate_is_one_that_the_library_of_crates_reads(made: Archived) -> None:
    from rocrate.rocrate import ROCrate

    crate = ROCrate(str(made.folder))
    files = {one.id for one in crate.data_entities if one.type == "File"}
    on_disk = {p.relative_to(made.folder).as_posix() for p in made.folder.rglob("*") if p.is_file()}
    assert files == on_disk - {"ro-crate-metadata.json", "checksums.sha256"}
    assert str(crate.root_dataset["datePublished"]) == MADE.isoformat()
    assert crate.root_dataset["license"].id == "https://creativecommons.org/licenses/by/4.0/"
    assert crate.root_dataset["author"]["name"] == "Ada Testwell"


def test_sha256sum_agrees_with_every_checksum(made: Archived) -> None:
    if shutil.which("sha256sum") is None:
        pytest.skip("this system has no sha256sum")
    command = ["sha256sum", "-c", "--strict", "checksums.sha256"]
    done = subprocess.run(command, cwd=made.folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout
    assert len(done.stdout.splitlines()) == made.files - 1


def test_no_file_of_the_coded_archive_holds_a_marker(coded: Archived) -> None:
    with zipfile.ZipFile(coded.packed) as packed:
        for name in packed.namelist():
            said = (name + packed.read(name).decode("latin-1")).casefold()
            assert [one for one in MARKERS if one.casefold() in said] == [], name


def test_the_private_archive_holds_the_field_files_byte_by_byte(private, marked) -> None:
    for path in sorted((marked.folder / "data").rglob("*")):
        if path.is_file():
            copy = private.folder / "study" / path.relative_to(marked.folder)
            assert copy.read_bytes() == path.read_bytes()
    assert not (private.folder / "study" / "private").exists()


def test_both_archives_hold_the_findings_of_the_corrected_data(coded, private) -> None:
    numbers = []
    for made in (coded, private):
        paths = sorted(made.folder.glob("reports/*/2025/*/findings.csv"))
        rows = [row for path in paths for row in csv.DictReader(io.StringIO(path.read_text()))]
        numbers.append(sorted((row["measure"], row["treatment"], row["estimate"]) for row in rows))
    assert numbers[0] == numbers[1]
    assert len(numbers[0]) == 2 * 3 * 4  # sites, measures, treatments against the check


def test_the_same_study_and_reports_give_the_same_bytes_again(made, tmp_path) -> None:
    again = tmp_path / made.folder.name
    for part in ("study", "reports", "software"):
        shutil.copytree(made.folder / part, again / part)
    private = made.folder.name.endswith("private")
    study = read_study(again / "study")
    write_archive(again, Deposit(study, again.name, MADE, private, versions()), check_study(study))
    write_zip(again, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == made.packed.read_bytes()


def test_the_zip_holds_the_folder_and_no_time_of_making(made: Archived) -> None:
    with zipfile.ZipFile(made.packed) as packed:
        names = packed.namelist()
        assert names == sorted(names)
        assert {entry.date_time for entry in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert {name.split("/")[0] for name in names} == {made.folder.name}
        assert len(names) == made.files


def test_the_archive_alone_gives_the_same_findings_to_the_last_digit(made, tmp_path) -> None:
    """In a fresh process with a home of its own, from the zip file and nothing else of trialkit."""
    with zipfile.ZipFile(made.packed) as packed:
        packed.extractall(tmp_path)
    (tmp_path / "home").mkdir()
    there = tmp_path / made.folder.name
    (wheel,) = (there / "software").glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(tmp_path / "installed")
    environment = {
        "HOME": str(tmp_path / "home"),
        "PYTHONPATH": str(tmp_path / "installed"),
        "PATH": os.environ["PATH"],
        "OPENBLAS_NUM_THREADS": "1",
    }
    command = [sys.executable, "-m", "trialkit.cli", "render", "study", "--out", "again"]
    done = subprocess.run(command, cwd=there, env=environment, capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode()
    found = sorted((there / "reports").rglob("*.*"))
    assert sum(path.name == "findings.csv" for path in found) >= 3
    for path in (one for one in found if one.name in MADE_AGAIN):
        again = there / "again" / path.relative_to(there / "reports")
        assert again.read_bytes() == path.read_bytes(), path


def test_an_archive_that_is_there_is_not_written_over(coded, marked, out) -> None:
    before = coded.packed.read_bytes()
    with pytest.raises(TrialkitError, match="an archive of this day already"):
        archive(Request(marked.folder, out, workers=1), MADE)
    assert coded.packed.read_bytes() == before
    assert [path.name for path in out.rglob(".making-*")] == []


def test_the_archived_study_reads_as_the_study_does_but_for_the_names(coded, marked) -> None:
    copy = read_study(coded.folder / "study")
    assert copy.measures == marked.measures
    assert copy.authors == marked.authors
    package = json.loads((coded.folder / "datapackage.json").read_text(encoding="utf-8"))
    assert package["licenses"][0]["name"] == "CC-BY-4.0"
