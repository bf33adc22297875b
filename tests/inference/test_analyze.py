"""The entry point: one frame in, an Analysis out whose dictionary is fit for JSON."""

import json
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import trialkit as tk
from trialkit.errors import AnalysisError


def trial(blocks=4) -> pd.DataFrame:
    rng = np.random.default_rng(8)
    rows = [(b, t, 10 + 3 * n + rng.normal()) for b in range(blocks)
            for n, t in enumerate(["check", "mulch", "net"])]  # fmt: skip
    return pd.DataFrame(rows, columns=["rep", "trt", "y"])


def analyze(frame=None, **options):
    frame = trial() if frame is None else frame
    return tk.analyze(frame, response="y", treatment="trt", **({"block": "rep"} | options))


def test_the_dictionary_has_the_promised_keys_and_is_valid_json():
    frame = trial()
    frame.loc[4, "y"] = np.nan
    answer = analyze(frame, control="check").to_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert list(answer) == ["data", "model", "tests", "variance_components", "means", "contrasts",
                            "effect_sizes"]  # fmt: skip
    assert answer["data"] == {"rows": 12, "used": 11,
                              "dropped": [{"row": 4, "reason": "'y' is missing"}]}  # fmt: skip
    assert list(answer["means"][0]) == ["treatment", "mean", "se", "df", "low", "high", "letters"]
    assert list(answer["contrasts"][0])[:5] == ["treatment", "versus", "estimate", "se", "df"]
    assert set(answer["effect_sizes"][0]) == {"name", "value", "low", "high"}


def test_a_control_gives_each_treatment_minus_the_check():
    contrasts = analyze(control="check").contrasts
    assert list(contrasts["treatment"]) == ["mulch", "net"]
    assert set(contrasts["versus"]) == {"check"}


def test_no_control_gives_all_pairs():
    assert len(analyze().contrasts) == 3
    assert "studentized range" in " ".join(analyze().notes)


def test_tukey_with_a_control_reports_the_check_only_but_adjusts_for_all_pairs():
    every, some = analyze().contrasts, analyze(control="check", adjust="tukey").contrasts
    shared = every[every["versus"] == "check"]["p_adjusted"].to_numpy()
    np.testing.assert_array_equal(some["p_adjusted"].to_numpy(), shared)


def test_unadjusted_comparisons_carry_their_caution():
    assert "protected least significant difference" in " ".join(analyze(adjust="none").notes)


def test_cautions_of_the_asker_end_the_notes_and_leave_the_tables_alone():
    plain = analyze(control="check")
    warned = replace(plain, cautions=("Two plots were flooded.",))
    assert warned.notes == (*plain.notes, "Two plots were flooded.")
    pd.testing.assert_frame_equal(warned.contrasts, plain.contrasts)
    pd.testing.assert_frame_equal(warned.means, plain.means)


def test_unadjusted_letters_are_protected_by_the_overall_test():
    rng = np.random.default_rng(4)
    for _ in range(40):
        frame = trial().assign(y=rng.normal(size=12))
        done = analyze(frame, adjust="none")
        if done.model.tests.set_index("term").loc["treatment", "p"] > 0.05:
            assert set(done.means["letters"]) == {"a"}


def test_intervals_widen_with_the_level():
    wide, narrow = analyze(level=0.99).contrasts, analyze(level=0.9).contrasts
    assert (wide["low"] < narrow["low"]).all()


def test_lognormal_contrasts_are_ratios_with_their_interval():
    row = analyze(family="lognormal", control="check").contrasts.iloc[0]
    assert row["ratio"] == pytest.approx(np.exp(row["estimate"]))
    assert row["ratio_low"] < row["ratio"] < row["ratio_high"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"adjust": "tukye"}, "Did you mean 'tukey'"),
        ({"adjust": "dunnett"}, "none is named. Give control"),
        ({"level": 95}, "between 0 and 1"),
    ],
)
def test_options_that_make_no_sense_are_refused(options, words):
    with pytest.raises(AnalysisError, match=words):
        analyze(**options)


def test_row_order_and_block_names_do_not_matter():
    frame = trial()
    shuffled = frame.sample(frac=1, random_state=3)
    shuffled["rep"] = "blk" + shuffled["rep"].astype(str)
    left, right = analyze(frame).contrasts, analyze(shuffled).contrasts
    pd.testing.assert_frame_equal(left, right)


@pytest.mark.parametrize("factor", [1e-6, 1e6])
def test_the_unit_of_the_response_does_not_matter(factor):
    frame = trial()
    left, right = analyze(frame), analyze(frame.assign(y=lambda f: f["y"] * factor))
    p_left, p_right = left.contrasts["p_adjusted"], right.contrasts["p_adjusted"]
    np.testing.assert_allclose(p_left, p_right, rtol=1e-9)
    np.testing.assert_allclose(left.means["mean"] * factor, right.means["mean"], rtol=1e-12)
