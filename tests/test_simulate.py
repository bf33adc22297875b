"""Simulated data: reproducible, true to the stated effects, with the faults of real trials."""

import copy
import filecmp
import runpy
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from trialkit.simulate import (
    draw_site_season,
    read_truth,
    simulate_site_season,
    write_study,
)
from trialkit.study import read_study

EXAMPLE = Path(__file__).parents[1] / "data_examples" / "eggplant_flea_beetle"
STUDY, TRUTH = read_study(EXAMPLE), read_truth(EXAMPLE)
CHECK, NETTING, KAOLIN = (STUDY.treatment_ids.index(t) for t in ("check", "netting", "kaolin"))


def tables(season: int, site: str) -> dict[str, pd.DataFrame]:
    return simulate_site_season(STUDY, season, site, TRUTH)


def draw(season: int, site: str, blocks: int = 3000, deviations: bool = False):
    place = copy.copy(TRUTH.places[season, site])
    place.blocks = blocks
    return draw_site_season(STUDY, TRUTH, place, 7, deviations)


def rewritten(folder: Path) -> Path:
    folder.mkdir()
    for name in ("study.toml", "truth.toml"):
        shutil.copy(EXAMPLE / name, folder)
    write_study(folder)
    return folder


def files(folder: Path) -> set[str]:
    return {str(p.relative_to(folder)) for p in (folder / "data").rglob("*") if p.is_file()}


def test_two_runs_write_the_same_bytes(tmp_path):
    first, second = rewritten(tmp_path / "a"), rewritten(tmp_path / "b")
    names = sorted(files(first) | {"costs.csv", "corrections.csv"})
    same, different, missing = filecmp.cmpfiles(first, second, names, shallow=False)
    assert (sorted(same), different, missing) == (names, [], [])


def test_committed_data_are_what_the_truth_gives(tmp_path):
    fresh = rewritten(tmp_path / "a")
    assert files(fresh) == files(EXAMPLE)
    for name in sorted(files(fresh) | {"costs.csv", "corrections.csv"}):
        if name.endswith(".csv"):
            assert (fresh / name).read_bytes() == (EXAMPLE / name).read_bytes(), name
        else:  # the bytes of a workbook may change with the library that writes it, the cells not
            ours, theirs = (
                pd.read_excel(f / name, sheet_name=None, engine="openpyxl")
                for f in (fresh, EXAMPLE)
            )
            assert ours.keys() == theirs.keys()
            for sheet in ours:
                pd.testing.assert_frame_equal(ours[sheet], theirs[sheet])


def test_another_seed_gives_other_data():
    one, two = (simulate_site_season(STUDY, 2024, "alder_bench", TRUTH, s) for s in (1, 2))
    assert not one["scouting"]["count"].equals(two["scouting"]["count"])
    assert not one["plots"]["treatment"].equals(two["plots"]["treatment"])


def test_every_block_has_every_treatment_once():
    for season, site in STUDY.site_seasons():
        plots = tables(season, site)["plots"]
        assert (pd.crosstab(plots["block"], plots["treatment"]) == 1).all(axis=None)
        assert plots["plot"].is_unique


def test_mean_counts_recover_the_stated_ratios():
    many = draw(2024, "alder_bench")
    mean = [many.counts[many.treatment == t].mean() for t in (CHECK, KAOLIN)]
    assert mean[1] / mean[0] == pytest.approx(TRUTH.treatments["kaolin"].beetles, rel=0.03)
    before = many.visits < many.cover_off.max()
    under = [many.counts[many.treatment == t][:, before].mean() for t in (CHECK, NETTING)]
    assert under[1] / under[0] == pytest.approx(TRUTH.treatments["netting"].under_cover, rel=0.1)


def test_counts_scatter_as_the_negative_binomial_says():
    """Variance of one plant's count within a plot = m + m²/k; m varies between plots and blocks."""
    many, about = draw(2024, "alder_bench"), TRUTH.beetles
    counts = many.counts[many.treatment == CHECK][:, 2].astype(float)
    within = counts.var(axis=1, ddof=1).mean()
    mean, spread = counts.mean(), about["block_sd"] ** 2 + about["plot_sd"] ** 2
    expected = mean + mean**2 * np.exp(spread) / about["overdispersion_k"]
    assert within == pytest.approx(expected, rel=0.05)


def test_yields_recover_the_stated_ratios():
    many = draw(2024, "alder_bench")
    total = many.fruit.sum(axis=(1, 2))
    number = [total[many.treatment == t].mean() for t in (CHECK, NETTING)]
    effect = TRUTH.treatments["netting"]
    stated = getattr(effect, "yield") / effect.fruit_weight
    assert number[1] / number[0] == pytest.approx(stated, rel=0.01)
    weight, fruit = many.weight[:, :, 0].sum(axis=1), many.fruit[:, :, 0].sum(axis=1)
    each = [(weight / fruit)[many.treatment == t].mean() for t in (CHECK, NETTING)]
    assert each[1] / each[0] == pytest.approx(effect.fruit_weight, rel=0.005)


def test_culls_recover_the_stated_odds():
    many, causes = draw(2024, "alder_bench"), [c.id for c in STUDY.cull_causes]
    sunscald = 1 + causes.index("sunscald")
    odds = [
        many.fruit[many.treatment == t][..., sunscald].sum()
        / many.fruit[many.treatment == t][..., 0].sum()
        for t in (CHECK, KAOLIN)
    ]
    assert odds[1] / odds[0] == pytest.approx(
        TRUTH.treatments["kaolin"].culls["sunscald"], rel=0.05
    )


def test_bloom_comes_later_or_earlier_as_stated():
    many = draw(2024, "alder_bench")
    first = [many.first_bloom[many.treatment == t].mean() for t in (CHECK, NETTING)]
    assert first[1] - first[0] == pytest.approx(TRUTH.treatments["netting"].bloom, abs=0.1)


def test_treatments_deviate_in_a_site_season_unless_told_not_to():
    with_own, without = (draw(2024, "alder_bench", 50, own) for own in (True, False))
    silver = with_own.treatment == STUDY.treatment_ids.index("silver_mulch")
    assert np.array_equal(with_own.treatment, without.treatment)
    assert with_own.counts[silver].sum() != without.counts[silver].sum()
    check = with_own.treatment == CHECK
    assert with_own.counts[check].mean() == pytest.approx(without.counts[check].mean(), rel=0.1)


def test_committed_true_contrasts_agree_with_the_stated_effects():
    true = pd.read_csv(EXAMPLE / "true_effects.csv").query("site == 'across'")
    true = true.set_index(["measure", "treatment"])
    for treatment in ("silver_mulch", "clover", "kaolin"):
        row = true.loc["flea_beetle_days", treatment]
        stated = TRUTH.treatments[treatment].beetles
        assert row["ratio"] == pytest.approx(stated, rel=5 * row["mc_se_percent"] / 100)
        bloom = true.loc["days_to_first_bloom", treatment]["difference"]
        assert bloom == pytest.approx(TRUTH.treatments[treatment].bloom, abs=0.03)


def test_one_site_has_three_blocks():
    assert tables(2024, "brook_terrace")["plots"]["block"].nunique() == 3


def test_two_flooded_plots_end_with_the_flood():
    cedar = tables(2024, "cedar_flat")
    lost = cedar["plots"].query("lost != ''")["plot"]
    assert len(lost) == 2
    flood = cedar["events"].query("event == 'flooded'")["date"].min()
    scouted = cedar["scouting"][cedar["scouting"]["plot"].isin(lost)]
    assert len(scouted)
    assert (scouted["date"] < flood).all()
    assert not cedar["harvest"]["plot"].isin(lost).any()


def test_one_site_season_skipped_a_week_of_scouting():
    dates = pd.to_datetime(tables(2025, "alder_bench")["scouting"]["date"].unique())
    assert sorted(set(np.diff(dates).astype("timedelta64[D]").astype(int))) == [7, 14]


@pytest.mark.parametrize("season", [2025, 2026])
def test_all_counts_under_netting_are_zero_at_brook_terrace(season):
    brook = tables(season, "brook_terrace")
    counts = brook["scouting"].merge(brook["plots"][["plot", "treatment"]])
    total = counts.groupby("treatment")["count"].sum()
    assert total["netting"] == 0
    assert (total.drop("netting") > 0).all()


def share_of_cause(season: int, site: str, treatment: str, cause: str) -> float:
    data = tables(season, site)
    harvest = data["harvest"].merge(data["plots"][["plot", "treatment"]])
    mine = harvest[harvest["treatment"] == treatment]
    return mine.loc[mine["cull_cause"] == cause, "fruit"].sum() / mine["fruit"].sum()


def test_a_wet_bloom_left_poorly_pollinated_fruit():
    wet = share_of_cause(2025, "brook_terrace", "check", "poor_pollination")
    assert wet > 2 * share_of_cause(2024, "alder_bench", "check", "poor_pollination")
    rain = tables(2025, "brook_terrace")["weather"].set_index("date")["rain"]
    bloom = pd.Timestamp("2025-06-02") + pd.Timedelta(days=41)
    days = pd.date_range(bloom, periods=10).strftime("%Y-%m-%d")
    assert (rain[days] > 0).sum() >= 7


def test_one_site_took_the_netting_off_two_weeks_late_and_paid_for_it():
    events = tables(2025, "cedar_flat")["events"]
    off = pd.to_datetime(events.query("event == 'cover_off'")["date"]).iloc[0]
    covered = events["plot"].isin(events.query("event == 'cover_off'")["plot"])
    bloom = pd.to_datetime(events[covered].query("event == 'first_bloom'")["date"])
    assert (off - bloom).dt.days.between(10, 18).all()
    netting, check = (
        share_of_cause(2025, "cedar_flat", t, "poor_pollination") for t in ("netting", "check")
    )
    assert netting > 2 * check


def test_the_last_season_is_not_finished():
    alder, brook, cedar = (tables(2026, s.id) for s in STUDY.sites)
    assert "harvest" in alder
    assert "harvest" not in brook
    assert not brook["events"]["event"].isin(["first_bloom", "cover_off"]).any()
    last = cedar["scouting"]["date"] == cedar["scouting"]["date"].max()
    assert cedar["scouting"][last]["plot"].str[0].unique().tolist() == ["1", "2"]
    assert max(t["date"].max() for t in cedar.values() if "date" in t) <= "2026-07-17"


def test_one_site_season_came_as_a_workbook():
    folder = STUDY.data_folder(2025, "cedar_flat")
    assert [p.name for p in folder.iterdir()] == ["cedar_flat_2025.xlsx"]


def test_typed_data_are_clean():
    for season, site in STUDY.site_seasons():
        data = tables(season, site)
        keys = {
            "scouting": ["date", "plot", "plant"],
            "ratings": ["date", "plot", "what"],
            "harvest": ["date", "plot", "grade", "cull_cause"],
            "fruit_sizes": ["date", "plot", "fruit"],
            "events": ["date", "plot", "event"],
            "weather": ["date"],
        }
        for name in keys.keys() & data.keys():
            dates = pd.to_datetime(data[name]["date"], format="%Y-%m-%d")
            assert all(STUDY.in_season(season, day.date()) for day in dates), (season, site, name)
            assert not data[name].duplicated(keys[name]).any(), (season, site, name)
        assert set(data["events"]["event"]) <= set(STUDY.events)
        assert (data["weather"]["tmin"] < data["weather"]["tmax"]).all()
        if "harvest" in data:
            harvest = data["harvest"]
            assert ((harvest["fruit"] > 0) == (harvest["weight"] > 0)).all()
            assert ((harvest["grade"] == "cull") == (harvest["cull_cause"] != "")).all()


def test_a_misspelt_key_of_the_truth_is_named(tmp_path):
    text = (EXAMPLE / "truth.toml").read_text().replace("wet_bloom = true", "wet_blom = true")
    (tmp_path / "truth.toml").write_text(text)
    with pytest.raises(ValueError, match="wet_blom"):
        read_truth(tmp_path)


def test_a_study_of_any_size_can_be_made(tmp_path):
    maker = Path(__file__).parent / "benchmarks" / "scaled_study.py"
    scaled_study = runpy.run_path(str(maker))["scaled_study"]
    study = read_study(scaled_study(tmp_path / "many", sites=2, seasons=3, blocks=5))
    assert len(study.site_seasons()) == 6
    plots = pd.read_csv(study.data_folder(2022, "site_2") / "plots.csv")
    assert plots["block"].nunique() == 5
