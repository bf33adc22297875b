"""Mixed models against lme4, pbkrtest and lmerTest, and against analysis-of-variance arithmetic."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from tests.inference.across_reference import OATS_LOST_PLOTS, antigua, dales, oats, values
from trialkit.errors import AnalysisError
from trialkit.inference.design import make_design
from trialkit.inference.mixed import fit_mixed

CASES = {
    "antigua_harvwt": lambda: antigua("harvwt"),
    "antigua_ears": lambda: antigua("ears"),
    "dales": dales,
}
CLOSE = 1e-4


@pytest.fixture(params=CASES, scope="module")
def across(request):
    return fit_mixed(CASES[request.param]()), values(request.param)


def test_components_agree_with_lme4(across):
    result, expected = across
    for name, found in result.components.items():
        assert found == pytest.approx(expected[f"component:{name}"], rel=CLOSE)
    assert result.extra["restricted_loglik"] == pytest.approx(expected["loglik"], rel=1e-8)


def test_treatment_test_agrees_with_pbkrtest(across):
    result, expected = across
    row = result.tests.loc[0]
    assert row["F"] == pytest.approx(expected["treatment:kr_F"], rel=CLOSE)
    assert row["df2"] == pytest.approx(expected["treatment:kr_df2"], rel=CLOSE)


def test_means_agree_with_pbkrtest(across):
    result, expected = across
    means = result.means
    spread = np.sqrt(np.diag(means.covariance))
    for i, label in enumerate(means.treatments):
        assert means.estimate[i] == pytest.approx(expected[f"mean:{label}"], rel=CLOSE)
        assert spread[i] == pytest.approx(expected[f"mean_se:{label}"], rel=CLOSE)
        assert means.df[i] == pytest.approx(expected[f"mean_kr_df:{label}"], rel=CLOSE)


def test_differences_agree_with_pbkrtest(across):
    result, expected = across
    means = result.means
    for i, label in enumerate(means.treatments[1:], start=1):
        contrast = np.eye(len(means.treatments))[0] - np.eye(len(means.treatments))[i]
        spread = np.sqrt(contrast @ means.covariance @ contrast)
        assert spread == pytest.approx(expected[f"difference_se:{label}"], rel=CLOSE)
        wanted = expected[f"difference_kr_df:{label}"]
        assert means.pair_df[0, i] == pytest.approx(wanted, rel=CLOSE)


def test_unbalanced_split_plot_agrees_with_lme4_and_pbkrtest():
    result, expected = fit_mixed(oats(OATS_LOST_PLOTS)), values("oats_lost_plots")
    for name, found in result.components.items():
        assert found == pytest.approx(expected[f"component:{name}"], rel=CLOSE)
    in_r = {"whole_plot": "V", "treatment": "N", "whole_plot:treatment": "V:N"}
    for term, r_term in in_r.items():
        row = result.tests.set_index("term").loc[term]
        assert row["F"] == pytest.approx(expected[f"{r_term}:kr_F"], rel=CLOSE)
        assert row["df2"] == pytest.approx(expected[f"{r_term}:kr_df2"], rel=CLOSE)


def test_yates_oats_gives_the_published_components_and_whole_degrees_of_freedom():
    # Components and F as printed for this data set in Venables & Ripley, MASS; value from memory.
    result = fit_mixed(oats())
    assert [round(v, 2) for v in result.components.values()] == [214.48, 106.06, 177.08]
    assert result.tests["F"].round(3).tolist() == [1.485, 37.686, 0.303]
    assert result.tests["df2"].tolist() == pytest.approx([10, 45, 45], rel=1e-9)


def balanced(seed: int, environments: int = 3, blocks: int = 4, treatments: int = 5):
    draw = np.random.default_rng(seed)
    shape = (environments, blocks, treatments)
    e, b, t = (a.ravel() for a in np.indices(shape))
    y = draw.normal(size=environments)[e] + draw.normal(size=len(e))
    return pd.DataFrame({"y": y, "t": t, "b": b, "e": e}), y.reshape(shape)


def design_of(frame, **more):
    return make_design(frame, response="y", treatment="t", block="b", environment="e", **more)


def classical(y: np.ndarray) -> tuple[float, float]:
    """Return MS(treatment) / MS(treatment x environment) and the latter."""
    e, b, t = y.shape
    cell = y.mean(axis=1)
    effect = cell.mean(axis=0) - y.mean()
    rest = cell - cell.mean(axis=0) - cell.mean(axis=1, keepdims=True) + y.mean()
    mean_square = b * (rest**2).sum() / ((e - 1) * (t - 1))
    return float(b * e * (effect**2).sum() / (t - 1) / mean_square), float(mean_square)


@pytest.mark.parametrize("seed", range(12))
def test_balanced_study_gives_exactly_the_classical_ratio(seed):
    frame, y = balanced(seed)
    result = fit_mixed(design_of(frame))
    ratio, mean_square = classical(y)
    assert result.tests.loc[0, "F"] == pytest.approx(ratio, rel=1e-9)
    assert result.tests.loc[0, "df2"] == pytest.approx(8, rel=1e-9)
    contrast = np.array([1, -1, 0, 0, 0])
    variance = contrast @ result.means.covariance @ contrast
    assert variance == pytest.approx(2 * mean_square / 12, rel=1e-9)
    assert result.means.pair_df[0, 1] == pytest.approx(8, rel=1e-9)


def test_component_below_zero_is_reported_as_zero_and_said():
    frame, _ = balanced(9)
    result = fit_mixed(design_of(frame))
    below = [k for k, v in result.record["estimates"].items() if v < 0]
    assert below
    assert all(result.components[name] == 0 for name in below)
    assert any("below zero and reported as zero" in note for note in result.notes)
    assert set(result.record["boundary"]) == set(below)


def test_one_block_per_environment_drops_what_cannot_be_told_apart():
    frame, _ = balanced(1, environments=6, blocks=1)
    frame["b"] = frame["e"]
    result = fit_mixed(design_of(frame))
    assert set(result.components) == {"environment", "residual"}
    assert any("environment:treatment" in note for note in result.notes)
    assert result.tests.loc[0, "df2"] == pytest.approx(20, rel=1e-9)


def test_without_blocks_the_error_is_between_plots_of_an_environment():
    frame, _ = balanced(2)
    result = fit_mixed(make_design(frame, response="y", treatment="t", environment="e"))
    assert set(result.components) == {"environment", "environment:treatment", "residual"}
    assert result.tests.loc[0, "df2"] == pytest.approx(8, rel=1e-9)


def test_treatment_missing_from_one_environment_is_still_estimated():
    frame, _ = balanced(3, environments=4)
    result = fit_mixed(design_of(frame[(frame.e > 0) | (frame.t < 4)]))
    assert np.isfinite(result.means.covariance).all()
    assert result.means.n.tolist() == [16, 16, 16, 16, 12]


def test_shift_and_scale_of_the_response_only_shift_and_scale_the_answer():
    frame, _ = balanced(4)
    frame = frame.drop(index=[3, 17, 40])
    plain = fit_mixed(design_of(frame))
    moved = fit_mixed(design_of(frame.assign(y=1e6 + 1e-3 * frame.y)))
    assert moved.tests.loc[0, "F"] == pytest.approx(plain.tests.loc[0, "F"], rel=1e-5)
    assert moved.tests.loc[0, "df2"] == pytest.approx(plain.tests.loc[0, "df2"], rel=1e-5)


def test_order_of_rows_and_names_of_blocks_do_not_matter():
    frame, _ = balanced(5)
    frame = frame.drop(index=[0, 22])
    other = frame.sample(frac=1, random_state=1).assign(b=lambda d: d.b.map("wxyz".__getitem__))
    first, second = fit_mixed(design_of(frame)), fit_mixed(design_of(other))
    assert second.tests.loc[0, "F"] == pytest.approx(first.tests.loc[0, "F"], rel=1e-9)


def test_residuals_and_fitted_values_add_up_to_the_response():
    design = dales()
    found = fit_mixed(design).residuals
    assert found["row"].tolist() == design.frame.index.tolist()
    np.testing.assert_allclose(found["fitted"] + found["residual"], design.frame["response"])
    assert found["leverage"].between(0, 1).all()


def test_lognormal_means_are_on_the_log_scale():
    frame, _ = balanced(6)
    grown = frame.assign(y=np.exp(frame.y))
    result = fit_mixed(design_of(grown, family="lognormal"))
    assert result.means.link == "log"
    expected = fit_mixed(design_of(frame)).means.estimate
    np.testing.assert_allclose(result.means.estimate, expected)


def test_response_without_variation_between_plots_is_refused():
    frame, _ = balanced(7)
    with pytest.raises(AnalysisError, match="no variation between plots"):
        fit_mixed(design_of(frame.assign(y=frame.t + 10.0 * frame.e)))


def test_split_plot_with_an_empty_cell_is_refused():
    frame = oats().frame
    frame = frame[(frame.whole_plot != "Victory") | (frame.treatment != "0.2")]
    thinner = make_design(
        frame, response="response", treatment="treatment", block="block", whole_plot="whole_plot"
    )
    with pytest.raises(AnalysisError, match="no plot left under"):
        fit_mixed(thinner)


def test_reference_values_name_their_versions():
    text = (Path(__file__).parent.parent / "reference" / "across" / "versions.txt").read_text()
    assert "lme4" in text
    assert "pbkrtest" in text


def test_fit_next_to_a_singular_covariance_is_not_trusted():
    # Two environments and eleven plots, as left by heavy losses: the free fit ends where the
    # approximate degrees of freedom are below zero.
    y = [-4.1, -0.8, -5.4, 3.0, 0.9, -8.7, 0.9, -4.1, 2.2, 3.0, 5.2, -4.7, 6.9, -2.5]
    t = [0, 4, 1, 2, 4, 0, 1, 2, 3, 4, 0, 2, 3, 4]
    b = [0, 0, 1, 1, 1, 0, 0, 0, 0, 0, 1, 1, 1, 1]
    frame = pd.DataFrame({"y": y, "t": t, "b": b, "e": [0] * 5 + [1] * 9})
    result = fit_mixed(design_of(frame))
    assert result.tests.loc[0, "df2"] > 1
    assert 0 <= result.tests.loc[0, "p"] <= 1
    assert (np.diag(result.means.covariance) > 0).all()


@pytest.mark.parametrize("seed", range(3))
def test_two_environments_are_enough_for_an_answer(seed):
    frame, _ = balanced(seed, environments=2)
    result = fit_mixed(design_of(frame.drop(index=[1, 12])))
    assert 2 < result.tests.loc[0, "df2"] < 8
