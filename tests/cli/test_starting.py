"""new --from: a study drafted from a workbook, in a folder that was empty."""

import json

import pytest
from typer.testing import CliRunner

from tests.intake.draft.workbooks import BOOKS
from trialkit import cli


def run(*words):
    return CliRunner().invoke(cli.app, list(map(str, words)))


@pytest.mark.parametrize("book", BOOKS.values(), ids=BOOKS)
def test_what_was_drafted_checks_without_an_error(book, tmp_path):
    folder = tmp_path / "study"
    done = run("new", folder, "--from", book.write(tmp_path))
    assert done.exit_code == 0
    assert f"look at every line marked as a guess in {folder}/study.toml" in done.stdout
    found = run("check", folder, "--json")
    assert found.exit_code == 0
    assert not [f for f in json.loads(found.stdout)["faults"] if f["severity"] == "error"]


def test_a_folder_that_holds_something_is_left_alone(tmp_path):
    path = BOOKS["dates_across"].write(tmp_path)
    done = run("new", tmp_path, "--from", path)
    assert done.exit_code == 1
    assert "there is something here already" in str(done.exception)
    assert sorted(tmp_path.iterdir()) == [path]


def test_season_and_site_go_with_from(tmp_path):
    assert run("new", tmp_path / "study", "--season", "2026").exit_code == 2
    assert run("new", tmp_path / "study", "--site", "north").exit_code == 2


def test_check_shows_the_first_rows_beside_their_cells(tmp_path):
    folder = tmp_path / "study"
    run("new", folder, "--from", BOOKS["dates_across"].write(tmp_path))
    told = run("check", folder).stdout
    assert (
        "Hill Farm 2026.xlsx#Beetles is read as scouting; its first rows, and their cells:" in told
    )
    assert "  date 2026-06-12 (E3), plot 101 (C4), organism flea_beetles" in told
    rows = json.loads(run("check", folder, "--json").stdout)["first_rows"][0]["rows"]
    assert rows[1]["count"] == {"value": "9", "cell": "E4"}
