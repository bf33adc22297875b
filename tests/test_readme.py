"""The README holds what it promises: two commands, true tables, pictures that exist."""

import importlib.util
import re
from pathlib import Path

import pandas as pd
import pytest

ROOT = Path(__file__).resolve().parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("heading", ["Run it", "Test it"])
def test_each_set_up_command_is_one_line_under_its_heading(heading):
    section = re.search(rf"^## {heading}\n(.*?)(?=^## )", TEXT, re.S | re.M).group(1)
    blocks = re.findall(r"```sh\n(.*?)\n```", section, re.S)
    assert len(blocks) == 1
    assert "\n" not in blocks[0]
    assert blocks[0].startswith("python3 -m venv .venv")


def test_the_dictionary_of_columns_is_that_of_the_schemas():
    spec = importlib.util.spec_from_file_location("readme_tables", ROOT / "tests/readme_tables.py")
    tables = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tables)
    assert tables.with_dictionary(TEXT) == TEXT


def test_every_picture_exists_and_has_a_text():
    pictures = re.findall(r"!\[(.*?)\]\((.*?)\)", TEXT)
    assert pictures
    for text, path in pictures:
        assert len(text) > 20
        assert (ROOT / path).is_file()


def test_every_command_it_names_exists():
    from trialkit.cli import app

    known = {command.name or command.callback.__name__ for command in app.registered_commands}
    named = set(re.findall(r"\.venv/bin/trialkit ([a-z]+)", TEXT))
    assert named
    assert named <= known


def test_what_it_says_of_the_calibration_is_what_the_table_holds():
    table = pd.read_csv(ROOT / "tests" / "benchmarks" / "calibration.csv")
    intervals = table.loc[~table["bound"].astype(bool), "coverage"].dropna()
    inside = int(intervals.between(0.935, 0.965).sum())
    errors = 100 * table["type1"].dropna()
    said = " ".join(TEXT.split())
    assert f"{len(table)} combinations" in said
    assert f"in {errors.min():.1f} to {errors.max():.1f} % of them" in said
    assert f"is met in {inside} of {len(intervals)} combinations" in said
    assert f"up to {100 * intervals.max():.1f} %" in said
