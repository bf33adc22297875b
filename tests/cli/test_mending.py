"""check --fix: nothing is written without a yes, raw files never, and all of it is signed."""

import csv
import json
import os
import pty
import subprocess
import sys

import pytest
from typer.testing import CliRunner

from trialkit import cli
from trialkit.cli import mending

CORRECTED = "corrections.csv"


def run(*words, answers=""):
    return CliRunner().invoke(cli.app, ["check", *map(str, words)], input=answers)


def spoil(mini):
    """Three errors: two that can be meant in one way only, one that cannot."""
    mini.change("harvest", ",10,3.2", ',10,"3,2"')
    mini.change("scouting", "adult,0", "adult,O")
    mini.change("ratings", "holes,6", "holes,six")
    (mini.folder / "data" / "2026" / "south").mkdir()
    return {path: path.read_bytes() for path in mini.site.iterdir()}


def lines(mini):
    path = mini.folder / CORRECTED
    return list(csv.DictReader(path.read_text().splitlines())) if path.exists() else []


@pytest.fixture
def terminal(monkeypatch):
    monkeypatch.setattr(mending, "at_a_terminal", lambda: True)


def test_without_a_terminal_it_tells_what_it_would_offer_and_writes_nothing(mini):
    spoil(mini)
    done = run(mini.folder, "--fix")
    assert done.exit_code == 1
    assert "harvest.csv:2:weight: '3,2' is read as '3.2'" in done.stdout
    assert "--yes writes all of them" in done.stdout
    assert not (mini.folder / CORRECTED).exists()


@pytest.mark.usefixtures("terminal")
def test_each_is_asked_about_and_only_a_yes_is_written(mini):
    before = spoil(mini)
    done = run(mini.folder, "--fix", answers="n\ny\nEF\n")
    assert done.exit_code == 1
    assert [line["now"] for line in lines(mini)] == ["3.2"]
    assert lines(mini)[0]["who"] == "EF"
    assert lines(mini)[0]["when"]
    assert lines(mini)[0]["why"] == "'3,2' has a decimal comma"
    assert "Wrote 1 correction into" in done.stdout
    assert {path: path.read_bytes() for path in before} == before


@pytest.mark.usefixtures("terminal")
@pytest.mark.parametrize(
    ("answers", "written"), [("\n\n", 0), ("s\n", 0), ("y\ns\nEF\n", 1), ("a\nEF\n", 2), ("", 0)]
)
def test_no_answer_is_no(mini, answers, written):
    spoil(mini)
    done = run(mini.folder, "--fix", answers=answers)
    assert done.exit_code == 1
    assert len(lines(mini)) == written


def test_yes_writes_all_and_the_status_is_that_of_what_is_left(mini):
    spoil(mini)
    assert run(mini.folder, "--fix", "--yes", "--by", "EF").exit_code == 1
    mini.write("ratings", "date,plot,what,score,observer\n2026-06-20,101,holes,6,AB\n")
    done = run(mini.folder, "--fix", "--yes", "--by", "EF")
    assert done.exit_code == 0
    assert len(lines(mini)) == 2
    assert "nothing is offered" in done.stdout


def test_json_tells_offers_and_lines_written(mini):
    spoil(mini)
    told = json.loads(run(mini.folder, "--fix", "--json").stdout)
    assert len(told["offered"]) == 2
    assert told["written"] == []
    told = json.loads(run(mini.folder, "--fix", "--json", "--yes", "--by", "EF").stdout)
    assert [line["who"] for line in told["written"]] == ["EF", "EF"]
    assert len([f for f in told["faults"] if f["severity"] == "error"]) == 1


def test_a_file_of_corrections_that_cannot_be_read_is_left_alone(mini):
    spoil(mini)
    (mini.folder / CORRECTED).write_text("file,row\n")
    done = run(mini.folder, "--fix", "--yes")
    assert done.exit_code == 1
    assert "there is no column 'column'" in str(done.exception)
    assert (mini.folder / CORRECTED).read_text() == "file,row\n"


@pytest.mark.parametrize("words", [("--yes",), ("--by", "EF")])
def test_yes_and_by_without_fix_are_wrong_usage(mini, words):
    assert run(mini.folder, *words).exit_code == 2


def test_a_row_typed_twice_is_taken_out_on_record(mini):
    line = "2026-06-05,102,1,flea_beetle,adult,0,AB,\n"
    mini.change("scouting", line, line * 2)
    (mini.folder / "data" / "2026" / "south").mkdir()
    assert run(mini.folder).exit_code == 1
    done = run(mini.folder, "--fix", "--yes", "--by", "EF")
    assert done.exit_code == 0
    assert lines(mini)[0]["now"] == "leave out row"
    assert len(mini.read().tables["scouting"]) == 8


def test_at_a_real_terminal_it_asks(mini):
    spoil(mini)
    leader, follower = pty.openpty()
    os.write(leader, b"a\nEF\n")
    command = [sys.executable, "-m", "trialkit.cli", "check", str(mini.folder), "--fix"]
    done = subprocess.run(command, stdin=follower, capture_output=True, text=True, check=False)
    os.close(leader)
    os.close(follower)
    assert done.returncode == 1
    assert "1 of 2" in done.stdout
    assert len(lines(mini)) == 2
