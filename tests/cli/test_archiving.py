"""trialkit archive: what it prints and the status it ends with."""

import datetime as dt
import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from trialkit import cli
from trialkit.batch import archive as archiving
from trialkit.batch.archive import Archived
from trialkit.batch.run import Summary
from trialkit.errors import Fault
from trialkit.study import Study


def run(*words: object):
    return CliRunner().invoke(cli.app, ["archive", *map(str, words)])


@pytest.fixture
def asked(monkeypatch, example_study: Study):
    """Stands in for archiving; keeps what was asked of it and hands out what the test wants."""
    kept: dict = {"missing": (), "notes": ()}

    def made(request, day, *, private, watcher):
        kept.update(request=request, day=day, private=private)
        summary = Summary(example_study, Path("index.html"), (), ())
        place = Path("reports/x/archives")
        found = (kept["notes"], kept["missing"], summary)
        return Archived(place / "x_2026-11-05", place / "x_2026-11-05.zip", 12, *found)

    monkeypatch.setattr(archiving, "archive", made)
    return kept


def test_it_says_which_file_to_deposit(asked) -> None:
    done = run("my_study", "--out", "there", "--private", "--workers", 1)
    assert done.exit_code == 0
    assert done.stdout.splitlines()[-1].endswith("reports/x/archives/x_2026-11-05.zip")
    assert (asked["private"], asked["request"].out) == (True, Path("there"))
    assert asked["day"] == dt.date.today()


def test_notes_go_to_stderr_and_do_not_change_the_status(asked) -> None:
    asked["notes"] = (Fault("study.toml", 0, "licence", "none", "Add one", "no_licence", "note"),)
    done = run("my_study")
    assert done.exit_code == 0
    assert done.stderr == "study.toml::licence: none. Add one.\n"


def test_a_report_that_is_missing_ends_with_1(asked) -> None:
    asked["missing"] = ("Cedar Flat 2024",)
    done = run("my_study")
    assert done.exit_code == 1
    assert "could not be rendered: Cedar Flat 2024" in done.stdout


def test_json_says_the_same(asked) -> None:
    asked["missing"] = ("Cedar Flat 2024",)
    asked["notes"] = (Fault("study.toml", 0, "licence", "none", "Add one", "no_licence", "note"),)
    told = json.loads(run("my_study", "--json").stdout)
    assert told["not_rendered"] == ["Cedar Flat 2024"]
    assert [note["code"] for note in told["notes"]] == ["no_licence"]
    assert told["zip"].endswith(".zip")
