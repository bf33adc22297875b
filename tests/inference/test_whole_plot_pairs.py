"""Counts, shares and several environments of a split plot: every comparison on its own plots."""

import numpy as np
import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference import Analysis, analyze

LEVEL = {"check": "bare", "soap": "bare", "mulch": "straw", "mulch_soap": "straw"}


def trial(environments: int = 1, seed: int = 1) -> pd.DataFrame:
    """Insects out of 60 and weights; whole plots differ a lot, treatments do not."""
    random = np.random.default_rng(seed)
    e, b, t = (codes.ravel() for codes in np.indices((environments, 4, 4)))
    whole = random.normal(0, 0.8, size=(environments, 4, 2))[e, b, t // 2]
    count = random.poisson(12 * np.exp(whole))
    names = np.array(list(LEVEL))[t]
    frame = pd.DataFrame({"e": [f"e{n}" for n in e], "b": b + 1, "t": names, "count": count})
    weight = 10 + whole + random.normal(0, 0.3, len(t))
    return frame.assign(w=frame["t"].map(LEVEL), trials=60, hit=count.clip(0, 59), weight=weight)


RESPONSE = {
    "count": {"response": "count"},
    "proportion": {"response": "hit", "trials": "trials"},
    "normal": {"response": "weight"},
}


def analysed(frame: pd.DataFrame, family: str, **options: str) -> Analysis:
    return analyze(frame, treatment="t", block="b", family=family, control="check", adjust="none",
                   **RESPONSE[family], **options)  # fmt: skip


CASES = [("count", {}), ("proportion", {}), ("count", {"environment": "e"}),
         ("proportion", {"environment": "e"}), ("normal", {"environment": "e"})]  # fmt: skip


@pytest.mark.parametrize(("family", "options"), CASES)
def test_each_comparison_is_that_of_its_own_part_of_the_plots(family, options):
    frame = trial(5 if options else 1)
    whole = analysed(frame, family, whole_plot="w", **options).contrasts.set_index("treatment")
    for treatments in (["check", "soap"], ["check", "mulch"], ["check", "mulch_soap"]):
        part = analysed(frame[frame["t"].isin(treatments)], family, **options).contrasts.iloc[0]
        for name in ("estimate", "se", "df", "low", "high"):
            assert whole.loc[treatments[1], name] == pytest.approx(part[name], rel=1e-9)


@pytest.mark.parametrize(("family", "options"), CASES)
def test_no_test_or_note_rests_on_all_plots_as_if_they_stood_in_blocks_alone(family, options):
    done = analysed(trial(5 if options else 1), family, whole_plot="w", **options)
    assert done.model.tests.empty
    assert "variation between whole plots counts" in done.model.method
    assert not any("treatment test" in note for note in done.notes)
    assert any("bare (check, soap); straw (mulch, mulch_soap)" in note for note in done.notes)


def test_covariances_of_means_are_possible_and_give_the_standard_errors():
    means = analysed(trial(), "count", whole_plot="w").model.means
    assert np.linalg.eigvalsh(means.covariance).min() > 0
    assert (means.pair_df[~np.eye(4, dtype=bool)] > 0).all()


def test_dunnett_s_intervals_are_wider_than_those_of_single_comparisons():
    frame = trial()
    one = analysed(frame, "count", whole_plot="w").contrasts
    family = analyze(frame, response="count", treatment="t", block="b", whole_plot="w",
                     family="count", control="check").contrasts  # fmt: skip
    assert ((family["high"] - family["low"]) > (one["high"] - one["low"])).all()


def test_a_treatment_without_insects_in_another_whole_plot_has_a_bound():
    frame = trial()
    frame.loc[frame["t"] == "mulch", "count"] = 0
    row = analysed(frame, "count", whole_plot="w").contrasts.set_index("treatment").loc["mulch"]
    assert row["bound"] == "upper"
    assert 0 < row["ratio_high"] < 1


def test_without_a_check_it_is_refused_in_words():
    with pytest.raises(AnalysisError, match="against a check"):
        analyze(trial(), response="count", treatment="t", block="b", whole_plot="w", family="count")


def test_a_factorial_split_plot_of_counts_is_still_refused_in_words():
    frame = trial().assign(t=lambda x: x["t"].str.contains("soap").astype(str))
    with pytest.raises(AnalysisError, match="each combination of both factors"):
        analyze(frame, response="count", treatment="t", block="b", whole_plot="w", family="count")


def test_counts_that_do_not_differ_are_said_to_at_the_level_and_far_oftener_by_blocks_alone():
    # 400 other data sets: 6.8 % so, 13 % by blocks alone; 200 have a standard error of 1.5 and 2.4.
    found = {"w": 0, None: 0}
    for seed in range(200):
        for whole_plot in found:
            table = analysed(trial(seed=seed), "count", whole_plot=whole_plot).contrasts
            found[whole_plot] += int(table.set_index("treatment").loc["mulch", "p"] < 0.05)
    assert 0.01 < found["w"] / 200 < 0.1
    assert found[None] / 200 > 0.08
    assert found[None] > 1.5 * found["w"]
