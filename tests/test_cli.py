"""The command line: what it prints, where it prints it, and the status it ends with."""

import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from typer.testing import CliRunner

import trialkit
from trialkit import cli

ROOT = Path(__file__).resolve().parents[1]
EXAMPLE = ROOT / "data_examples" / "eggplant_flea_beetle"
TABLE = "y,t,b\n5.1,a,1\n6,b,1\n7,c,1\n5.2,a,2\n6.4,b,2\n7.1,c,2\n4.9,a,3\n6.3,b,3\n7.3,c,3\n"


def run(*words: str | Path, folder: Path | None = None) -> subprocess.CompletedProcess:
    """Run the command in a process of its own, as a person would."""
    command = [sys.executable, "-m", "trialkit.cli", *map(str, words)]
    environment = {"PYTHONPATH": str(ROOT), "PATH": "", "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.run(
        command, capture_output=True, text=True, cwd=folder or ROOT, env=environment, check=False
    )


def within(*words: str | Path):
    """Run a command in this process: quicker, for what ends without a fault."""
    return CliRunner().invoke(cli.app, list(map(str, words)))


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "plots.csv"
    path.write_text(TABLE)
    return path


def test_wrong_usage_ends_with_2() -> None:
    assert within("render").exit_code == 2
    assert within("no_such_command").exit_code == 2
    assert within("render", EXAMPLE, "--workers", "0").exit_code == 2


def test_a_missing_study_is_told_on_stderr_without_a_traceback() -> None:
    done = run("render", "nowhere")
    assert done.returncode == 1
    assert done.stdout == ""
    assert done.stderr.startswith("nowhere/study.toml::: there is no study description here.")
    assert "Traceback" not in done.stderr


def test_debug_shows_the_traceback() -> None:
    done = run("check", "nowhere", "--debug")
    assert done.returncode == 1
    assert "Traceback" in done.stderr


def test_json_of_analyze_equals_the_dict_of_the_library(table: Path) -> None:
    words = ("analyze", table, "--response", "y", "--treatment", "t", "--block", "b")
    printed = json.loads(within(*words, "--control", "a", "--json").stdout)
    found = trialkit.analyze(
        pd.read_csv(table), response="y", treatment="t", block="b", control="a"
    )
    assert printed == found.to_dict()


def test_analyze_takes_site_and_season(tmp_path: Path) -> None:
    s, y, b, t = (codes.ravel() for codes in np.indices((3, 2, 2, 3)))
    response = np.random.default_rng(2).normal(size=len(s)) + t
    path = tmp_path / "places.csv"
    pd.DataFrame({"y": response, "site": s, "year": 2024 + y, "b": b, "t": t}).to_csv(path)
    words = ("--response", "y", "--treatment", "t", "--block", "b")
    done = run("analyze", path, *words, "--site", "site", "--season", "year", "--json")
    found = json.loads(done.stdout)
    assert "site:treatment" in found["variance_components"]
    assert "environment:treatment" in found["variance_components"]


def test_analyze_prints_tables_to_read(table: Path) -> None:
    words = ("analyze", table, "--response", "y", "--treatment", "t", "--block", "b")
    text = within(*words, "--control", "a").stdout
    assert "Means" in text
    assert "Contrasts" in text
    assert "9 of 9 rows used" in text


def test_analyze_names_the_nearest_column(table: Path) -> None:
    done = run("analyze", table, "--response", "y", "--treatment", "tt")
    assert done.returncode == 1
    assert "Did you mean 't'?" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00bad", b'a,b\n"1,2\n3'])
def test_analyze_tells_of_a_file_that_is_no_csv(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "bad.csv"
    path.write_bytes(content)
    found = within("analyze", path, "--response", "y", "--treatment", "t")
    assert isinstance(found.exception, cli.TrialkitError)
    assert str(path) in str(found.exception)


def test_a_fresh_study_checks_without_an_error_and_says_what_to_fill_in(tmp_path: Path) -> None:
    folder = tmp_path / "Squash 2026"
    assert within("new", folder).exit_code == 0
    found = within("check", folder)
    assert found.exit_code == 0
    assert "nothing typed yet in plots" in found.stderr
    assert "1 site-season read: 0 errors" in found.stdout


def test_new_touches_nothing_that_is_there(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    found = within("new", tmp_path)
    assert "something here already" in str(found.exception)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]


def test_check_counts_the_faults_and_ends_with_1_where_the_data_block(tmp_path: Path) -> None:
    folder = tmp_path / "study"
    within("new", folder)
    plots = next(folder.rglob("plots.csv"))
    header = plots.read_text().strip()
    row = {"plot": "101", "block": "1", "treatment": "chekc"}
    line = ",".join(row.get(name, "") for name in header.split(","))
    plots.write_text(f"{header}\n{line}\n")
    found = within("check", folder, "--json")
    faults = json.loads(found.stdout)["faults"]
    assert found.exit_code == 1
    assert any(f["column"] == "treatment" and f["row"] == 2 for f in faults)


def test_the_example_checks_without_an_error() -> None:
    assert within("check", EXAMPLE).exit_code == 0


def test_why_names_every_report_and_renders_nothing(tmp_path: Path) -> None:
    found = within("render", EXAMPLE, "--why", "--out", tmp_path / "out")
    lines = found.stdout.splitlines()
    assert len(lines) == 11  # nine site-seasons, the final report, the one across
    assert lines[0] == "Alder Bench 2024: due: it was never rendered"
    assert not (tmp_path / "out").exists()


def test_a_demo_does_not_copy_over_what_is_there(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    assert "something here already" in str(within("demo", tmp_path).exception)


def test_a_demo_given_again_keeps_what_was_changed_in_the_copy(tmp_path: Path) -> None:
    study = tmp_path / "copy"
    shutil.copytree(EXAMPLE, study)
    (study / "study.toml").write_text("name = 1", encoding="utf-8")
    assert within("demo", study, "--out", tmp_path / "out").exit_code == 1
    assert (study / "study.toml").read_text(encoding="utf-8") == "name = 1"


def test_plan_draws_a_new_study_and_says_what_is_enough(tmp_path: Path) -> None:
    folder = tmp_path / "fresh"
    within("new", folder)
    text = (folder / "study.toml").read_text(encoding="utf-8")
    planting = '[[layout.plantings]]\nseason = 2026\nsite = "home_station"\ndate = 2026-06-01\n'
    (folder / "study.toml").write_text(f"{text}\n{planting}", encoding="utf-8")
    done = within("plan", folder)
    assert done.exit_code == 0, done.output
    assert "Randomised: home_station 2026." in done.output
    assert "the cheapest layout has" in done.output or "no layout in reach" in done.output
    assert (folder / "plan" / "2026" / "home_station" / "map.svg").stat().st_size
    page = (folder / "plan" / "plan.html").read_text(encoding="utf-8")
    assert "rule of thumb" in done.output
    assert "Map of Home Station 2026: 8 plots in 4 blocks, to scale." in page
    assert len(pd.read_csv(folder / "data" / "2026" / "home_station" / "plots.csv")) > 1


def test_plan_without_a_planting_date_draws_the_plots_and_names_the_entry(tmp_path: Path) -> None:
    within("new", tmp_path / "fresh")
    done = run("plan", tmp_path / "fresh")
    assert done.returncode == 0
    lines = (tmp_path / "fresh" / "study.toml").read_text(encoding="utf-8").splitlines()
    place = f"study.toml:{lines.index('[layout]') + 1}:layout.plantings"
    assert f"{place}: home_station has no planting date" in done.stderr
    assert list((tmp_path / "fresh" / "plan").glob("*/home_station/map.pdf"))
