"""The plan that the notebook and the command line show, from the example's data so far."""

import datetime as dt
from pathlib import Path

import pytest

import trialkit as tk
from trialkit.intake import read_site_season
from trialkit.report.plan_known import known_so_far
from trialkit.study import read_study

EXAMPLE = "data_examples/eggplant_flea_beetle"


@pytest.fixture(scope="module")
def shown():
    return tk.open_plan(EXAMPLE, today="2026-07-18")


def test_the_running_season_is_planned_with_the_plots_that_stand(shown):
    plots = shown.plan.place(2026, "cedar_flat").plots
    read = read_site_season(shown.study, 2026, "cedar_flat").tables["plots"]
    assert plots["treatment"].tolist() == read["treatment"].tolist()
    assert plots["area"].tolist() == pytest.approx([120.0] * 20)  # as typed, in ft²
    assert all(place.drawn is None for place in shown.plan.places)


def test_finished_work_is_told_from_work_to_come(shown):
    tasks = {task.rule: task for task in shown.plan.place(2026, "brook_terrace").tasks}
    assert tasks["netting_on"].state == "done"
    assert tasks["netting_off"].state == "expected"  # no bloom yet
    assert tasks["netting_off"].date == dt.date(2026, 6, 11) + dt.timedelta(days=40)


def test_spread_comes_from_the_finished_site_seasons(shown):
    sources = {one.measure.id: one.assumption for one in shown.plan.enough}
    yields = sources["marketable_yield"]
    assert yields.source == "this study's own 6 finished site-seasons"
    assert 5 < yields.plot_sd < 30  # percent of the check's mean; the truth gives about 15


def test_a_contrast_is_settled_here_exactly_when_its_verdict_is(shown):
    effects = tk.open_across(EXAMPLE).findings.pooled.effects.set_index(["measure", "treatment"])
    names = {m.name: m.id for m in shown.study.measures}
    labels = {t.label: t.id for t in shown.study.treatments}
    assert len(shown.plan.outlook) == 8
    for row in shown.plan.outlook.to_dict("records"):
        effect = effects.loc[names[row["measure"]], labels[row["treatment"]]]
        excludes_zero = effect["low"] > 0 or effect["high"] < 0
        assert row["settled_now"] == (excludes_zero or effect["verdict"].startswith("no worth"))


def test_every_part_shows_as_text(shown):
    parts = [shown.heading(), shown.outlook(), shown.enough(), shown.sampling()]
    parts += [shown.tasks(2026, "cedar_flat"), shown.place_map(2026, "cedar_flat"), shown.write()]
    for part in parts:
        bundle = part._repr_mimebundle_()
        text = bundle[0] if isinstance(bundle, tuple) else bundle
        assert len(text["text/plain"]) > 20


def test_papers_are_written_only_where_a_folder_is_named(shown, tmp_path):
    said = shown.write(str(tmp_path)).markdown
    written = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert said == f"{len(written)} files were written."
    assert (tmp_path / "2026" / "cedar_flat" / "map.pdf") in written


def test_nothing_typed_yet_is_nothing_known(tmp_path):
    text = (Path(EXAMPLE) / "study.toml").read_text(encoding="utf-8")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    known = known_so_far(read_study(tmp_path))
    assert (dict(known.seen), list(known.contrasts)) == ({}, [])
