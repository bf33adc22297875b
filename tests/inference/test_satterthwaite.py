"""Satterthwaite degrees of freedom against lmerTest."""

import numpy as np
import pytest

from tests.inference.across_reference import OATS_LOST_PLOTS, antigua, dales, oats, values
from trialkit.inference.block_algebra import arrange
from trialkit.inference.mixed_model import across_model, split_plot_model
from trialkit.inference.reml import fit_reml
from trialkit.inference.satterthwaite import contrast_df, satterthwaite_test

CASES = {
    "antigua_harvwt": lambda: antigua("harvwt"),
    "antigua_ears": lambda: antigua("ears"),
    "dales": dales,
}


def fit_of(model):
    return fit_reml(arrange(model.y, model.x, model.unit, model.factors))


@pytest.mark.parametrize("case", CASES)
def test_several_contrasts_agree_with_lmertest(case):
    model, expected = across_model(CASES[case]()), values(case)
    found = satterthwaite_test(fit_of(model), model.hypotheses["treatment"])
    assert found.statistic == pytest.approx(expected["treatment:satterthwaite_F"], rel=1e-4)
    assert found.df2 == pytest.approx(expected["treatment:satterthwaite_df2"], rel=1e-4)


@pytest.mark.parametrize("case", CASES)
def test_one_contrast_agrees_with_lmertest(case):
    design = CASES[case]()
    model, expected = across_model(design), values(case)
    fit = fit_of(model)
    for label, contrast in zip(design.treatments[1:], model.hypotheses["treatment"], strict=True):
        wanted = expected[f"difference_satterthwaite_df:{label}"]
        assert contrast_df(fit, contrast) == pytest.approx(wanted, rel=1e-4)


def test_split_plot_with_lost_plots_agrees_with_lmertest():
    model, expected = split_plot_model(oats(OATS_LOST_PLOTS)), values("oats_lost_plots")
    fit = fit_of(model)
    for term, r_term in {"whole_plot": "V", "treatment": "N"}.items():
        found = satterthwaite_test(fit, model.hypotheses[term])
        wanted = expected[f"{r_term}:satterthwaite_df2"]
        assert found.df2 == pytest.approx(wanted, rel=1e-4)


def test_balanced_split_plot_has_whole_degrees_of_freedom_by_both_informations():
    model = split_plot_model(oats())
    fit = fit_of(model)
    for observed in (True, False):
        found = satterthwaite_test(fit, model.hypotheses["whole_plot"], observed=observed)
        assert found.df2 == pytest.approx(10, rel=1e-9)


def test_direction_with_two_or_fewer_degrees_of_freedom_caps_the_joint_test():
    draw = np.random.default_rng(8)
    site = np.repeat(np.arange(2), 6)
    x = np.column_stack([np.ones(12), np.tile([0, 0, 0, 1, 1, 1], 2)])
    fit = fit_reml(arrange(draw.normal(size=12) + site, x, site, {"site": site}))
    assert contrast_df(fit, np.array([1.0, 0.5])) == pytest.approx(1, abs=0.1)
    assert satterthwaite_test(fit, np.eye(2)).df2 == 2
