"""A whole study whose every text is hostile, from its files to the page in a real browser."""

import itertools
import json
import re
import shutil

import pandas as pd
import pytest
from attacks import ATTACKS
from test_browser_attacks import seen_in
from typer.testing import CliRunner

from trialkit.cli import app

TEXT_KEYS = ("title", "crop", "name", "short", "description", "cooperator", "position", "what")
PLACE = "2024/cedar_flat"  # it has two flooded plots, so that reasons are shown
NOTED = {"scouting": ("note", "observer"), "events": ("note",), "ratings": ("observer",)}


@pytest.fixture(scope="module")
def hostile(tmp_path_factory, example_folder):
    """The example with an attack in every free text, each of them in at least one place."""
    study = tmp_path_factory.mktemp("hostile") / "study"
    shutil.copytree(example_folder, study)
    attacks = itertools.cycle(ATTACKS)
    _study_texts(study / "study.toml", attacks)
    data = study / "data" / PLACE
    plots = pd.read_csv(data / "plots.csv", dtype=str)
    lost = plots["lost"].notna()
    plots.loc[lost, "lost"] = [next(attacks) for _ in range(lost.sum())]
    plots.to_csv(data / "plots.csv", index=False)
    for table, names in NOTED.items():
        frame = pd.read_csv(data / f"{table}.csv", dtype=str)
        for name in names:
            frame[name] = [next(attacks) for _ in range(len(frame))]
        frame.to_csv(data / f"{table}.csv", index=False)
    words = study / "narrative" / f"{PLACE}.md"
    words.parent.mkdir(parents=True)
    body = "\n\n".join(ATTACKS)
    words.write_text(f"<!-- text: found -->\n\n## What was found\n\n{body}\n", encoding="utf-8")
    return study


def _study_texts(path, attacks):
    line = re.compile(rf'^({"|".join(TEXT_KEYS)}) = ".*?"', re.M)
    text = path.read_text(encoding="utf-8")
    head, rest = text.split("\n", 5)[:5], text.split("\n", 5)[5]
    hostile = line.sub(lambda found: f"{found[1]} = {json.dumps(next(attacks))}", rest)
    path.write_text("\n".join([*head, hostile]), encoding="utf-8")


def test_no_text_of_a_hostile_study_becomes_markup_or_script(browser, hostile, tmp_path):
    asked = ["render", str(hostile), "--season", "2024", "--site", "cedar_flat"]
    done = CliRunner().invoke(app, [*asked, "--out", str(tmp_path)])
    assert done.exit_code in (0, 1, 3), done.output
    (page,) = tmp_path.glob(f"*/{PLACE}/report.html")
    (index,) = tmp_path.glob("*/index.html")
    for one in (page, index):
        text = one.read_text(encoding="utf-8")
        looked, requests, own = seen_in(browser, tmp_path / "seen.html", text)
        assert looked == [0, 0, 1, 1, 0]
        assert requests == [own]
    assert "hurt(1)" in page.read_text(encoding="utf-8")
