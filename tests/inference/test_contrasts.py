"""Contrasts and means on the response scale, and bounds where a treatment has only one end."""

import numpy as np
import pandas as pd
import pytest

from trialkit.inference.analysis import Analysis
from trialkit.inference.contrasts import (
    adjusted_p,
    contrast_table,
    letters_of,
    means_table,
    pairs_of,
)
from trialkit.inference.design import make_design
from trialkit.inference.effect_sizes import effect_size_table
from trialkit.inference.estimates import Bound, MarginalMeans, ModelResult

LABELS = ("check", "mulch", "net")


def model(link="log", bounds=None, estimate=(2.0, 1.5, 1.0)) -> ModelResult:
    k = len(LABELS)
    means = MarginalMeans(LABELS, np.array(estimate), np.diag([0.04, 0.05, 0.06]), np.full(k, 8.0),
                          np.full((k, k), 8.0), link, np.full(k, 4))  # fmt: skip
    tests = pd.DataFrame([("treatment", 2.0, 8.0, 6.0, 0.026)],
                         columns=["term", "df1", "df2", "F", "p"])  # fmt: skip
    return ModelResult(
        "count", "constructed", ("treatment",), (), tests, means, bounds=bounds or {}
    )


def net_has_none() -> ModelResult:
    bounds = {("net", "check"): Bound(0.0, 0.2, "exact conditional bound", 0.001),
              ("net", ""): Bound(0.0, 0.7, "exact bound")}  # fmt: skip
    return model(bounds=bounds, estimate=(2.0, 1.5, -np.inf))


def table(result, control="check", how="dunnett"):
    return contrast_table(result, pairs_of(result.means, control), how, 0.95).frame


def test_ratios_are_the_exponentials_of_estimates_and_limits():
    rows = table(model())
    np.testing.assert_allclose(rows["ratio"].astype(float), np.exp(rows["estimate"]))
    np.testing.assert_allclose(rows["ratio_low"].astype(float), np.exp(rows["low"]))
    assert rows["se"].iloc[0] == pytest.approx(0.3)


def test_identity_links_have_no_ratio():
    assert table(model("identity"))["ratio"].isna().all()


def test_a_bound_has_no_estimate_but_its_end_its_p_and_its_name():
    row = table(net_has_none()).set_index("treatment").loc["net"]
    assert np.isnan(row["estimate"])
    assert np.isnan(row["ratio"])
    assert (row["ratio_low"], row["ratio_high"], row["bound"]) == (0.0, 0.2, "upper")
    assert row["high"] == pytest.approx(np.log(0.2))
    assert row["p"] == 0.001


def test_a_bound_counts_as_a_comparison_when_the_others_are_adjusted():
    rows = table(net_has_none()).set_index("treatment")
    p = rows.loc["mulch", "p"]
    assert rows.loc["mulch", "p_adjusted"] == pytest.approx(1 - (1 - p) ** 2)
    assert rows.loc["net", "p_adjusted"] == pytest.approx(1 - 0.999**2)


def test_a_bound_given_the_other_way_round_is_turned():
    result = model(bounds={("check", "net"): Bound(5.0, np.inf, "bound")})
    row = table(result).set_index("treatment").loc["net"]
    assert (row["ratio_low"], row["ratio_high"], row["bound"]) == (0.0, 0.2, "upper")


def test_a_mean_with_a_bound_has_ends_but_no_standard_error():
    result = net_has_none()
    row = means_table(result, 0.95, ["a", "a", "b"]).set_index("treatment").loc["net"]
    assert (row["mean"], row["low"], row["high"]) == (0.0, 0.0, 0.7)
    assert np.isnan(row["se"])


def test_proportions_come_back_between_zero_and_one_with_delta_method_errors():
    means = means_table(model("logit", estimate=(0.0, 1.0, -3.0)), 0.95, list("abc"))
    assert means["mean"].iloc[0] == 0.5
    assert means["se"].iloc[0] == pytest.approx(0.2 * 0.25)
    assert means["low"].between(0, 1).all()


def test_letters_follow_bounds_too():
    result = net_has_none()
    every = adjusted_p(result, pairs_of(result.means, None), "tukey", 0.95)
    letters = dict(zip(LABELS, letters_of(result, every, "tukey", 0.95), strict=True))
    assert not set(letters["net"]) & set(letters["check"])


def test_an_analysis_with_bounds_is_valid_json():
    import json

    frame = pd.DataFrame({"y": np.arange(12.0), "t": list(LABELS) * 4})
    design = make_design(frame, response="y", treatment="t", family="count", control="check")
    answer = Analysis(design, net_has_none(), 0.95, "dunnett").to_dict()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    bounded = answer["contrasts"][1]
    assert bounded["estimate"] is None
    assert bounded["ratio_high"] == 0.2
    change = {e["name"]: e for e in answer["effect_sizes"]}["percent_change(net - check)"]
    assert change["value"] is None
    assert change["high"] == pytest.approx(-80.0)


def test_the_percent_change_of_a_bound_given_the_other_way_round_has_its_end():
    result = model(bounds={("check", "net"): Bound(5.0, np.inf, "bound")})
    found = effect_size_table(result, ((2, 0),), 0.95).iloc[0]
    assert found["high"] == pytest.approx(-80.0)
    assert np.isnan(found["value"])


@pytest.mark.parametrize("how", ["tukey", "holm", "none"])
def test_p_values_alone_are_those_of_the_table(how):
    for result in (model(), net_has_none()):
        pairs = pairs_of(result.means, None)
        alone = adjusted_p(result, pairs, how, 0.95)
        whole = contrast_table(result, pairs, how, 0.95).frame["p_adjusted"]
        np.testing.assert_array_equal(alone, whole.to_numpy())
