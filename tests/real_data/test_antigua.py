"""The whole path on real trials: eight sites from field files to findings, against R.

expected_sites.csv holds what R's lm and emmeans gave (reference.R, versions.txt).
"""

from pathlib import Path

import pandas as pd
import pytest
from antigua_study import SEASON, write_antigua
from typer.testing import CliRunner

from trialkit.cli import app
from trialkit.report.site_season import open_report

HERE = Path(__file__).parent
SITES = ("dban", "lfan", "nsan", "oran", "ovan", "tean", "wean", "wlan")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return write_antigua(tmp_path_factory.mktemp("real") / "antigua")


@pytest.fixture(scope="module")
def expected():
    return pd.read_csv(HERE / "expected_sites.csv").set_index(["site", "quantity"])


@pytest.mark.parametrize("site", SITES)
def test_means_of_a_real_site_agree_with_r(folder, expected, site):
    means = open_report(folder, SEASON, site).findings.means.set_index("treatment")
    wanted = expected.loc[site].filter(like="mean_", axis=0)
    assert len(wanted) == len(means)
    for name, row in wanted.iterrows():
        own = means.loc[name.removeprefix("mean_")]
        assert own["mean"] == pytest.approx(row["value"], rel=1e-6)
        assert own["se"] == pytest.approx(row["se"], rel=1e-6)


@pytest.mark.parametrize("site", SITES)
def test_contrasts_with_the_check_of_a_real_site_agree_with_r(folder, expected, site):
    effects = open_report(folder, SEASON, site).findings.effects.set_index("treatment")
    wanted = expected.loc[site].filter(like="minus_check_", axis=0)
    assert len(wanted) == len(effects)
    for name, row in wanted.iterrows():
        own = effects.loc[name.removeprefix("minus_check_")]
        assert own["estimate"] == pytest.approx(row["value"], rel=1e-6, abs=1e-9)
        assert own["se"] == pytest.approx(row["se"], rel=1e-6)


def test_the_lost_plot_is_left_out_in_sight(folder):
    values = open_report(folder, SEASON, "tean").values.set_index("plot")
    assert values.loc["36", "left_out"] != ""
    assert (values["left_out"] != "").sum() == 1


def test_a_real_site_renders_and_its_findings_file_holds_r_s_contrasts(folder, expected, tmp_path):
    asked = ["render", str(folder), "--site", "dban", "--out", str(tmp_path)]
    done = CliRunner().invoke(app, asked)
    assert done.exit_code == 0, done.output
    place = tmp_path / "antigua" / str(SEASON) / "dban"
    found = pd.read_csv(place / "findings.csv").set_index("treatment")
    wanted = expected.loc["dban"].loc["minus_check_t111", "value"]
    assert found.loc["t111", "estimate"] == pytest.approx(wanted, rel=1e-6)
    assert "Maize and fertiliser" in (place / "report.html").read_text(encoding="utf-8")
