"""Adjusted comparisons agree with scipy and with R's multcomp, and never depend on chance."""

import linear_reference as reference
import numpy as np
import pytest
from scipy import stats

import trialkit as tk
from trialkit.inference.multiplicity import adjust, false_discovery, holm, sidak
from trialkit.inference.multivariate_t import comparisons, critical, tail

STAR = [(i, 0) for i in range(1, 5)]
ALL = [(i, j) for i in range(5) for j in range(i)]


@pytest.mark.parametrize("df", [2.0, 8.0, 60.0])
@pytest.mark.parametrize("c", [1.0, 2.5, 5.0])
def test_all_pairs_with_equal_variances_are_the_studentized_range(df, c):
    found = tail(np.array([c]), comparisons(np.eye(5), ALL), df)[0]
    assert found == pytest.approx(stats.studentized_range.sf(c * np.sqrt(2), 5, df), rel=1e-6)


def test_published_critical_values_of_dunnett_and_tukey():
    # Two-sided 5 % points with 10 df: Dunnett d(4) 2.89 and Tukey q(5) 4.65, as in common tables
    # (values from memory).
    assert critical(0.95, comparisons(np.eye(5), STAR), 10.0) == pytest.approx(2.89, abs=0.005)
    assert critical(0.95, comparisons(np.eye(5), ALL), 10.0) * 2**0.5 == pytest.approx(
        4.65, abs=0.005
    )


def test_degrees_of_freedom_that_differ_by_rounding_are_one():
    t, exact = np.linspace(1, 4, 4), np.full(4, 7.7)
    nearly = exact + np.spacing(7.7) * np.arange(4)
    found, expected = (adjust(t, df, np.eye(5), STAR, how="dunnett") for df in (nearly, exact))
    np.testing.assert_array_equal(found.p, expected.p)
    np.testing.assert_array_equal(found.critical, expected.critical)


def test_unequal_groups_against_a_check_agree_with_scipy():
    rng = np.random.default_rng(5)
    samples = [rng.normal(size=n) for n in (6, 4, 5, 3)]
    theirs = stats.dunnett(*samples[1:], control=samples[0], rng=np.random.default_rng(1))
    V = np.diag([1 / len(s) for s in samples])
    ours = adjust(theirs.statistic, np.full(3, 14.0), V, STAR[:3], how="dunnett")
    np.testing.assert_allclose(ours.p, theirs.pvalue, atol=2e-4)


def rcbd_lost_covariance():
    from trialkit.inference.linear import fit_linear

    return fit_linear(reference.design("rcbd_lost")).means.covariance


@pytest.mark.parametrize("pairs", [STAR, ALL])
def test_unbalanced_families_agree_with_a_long_simulation(pairs):
    V = rcbd_lost_covariance()
    rng = np.random.default_rng(11)
    means = rng.multivariate_normal(np.zeros(5), V, size=400_000)
    family = comparisons(V, pairs)
    first, second = np.array(pairs).T
    s = np.sqrt(rng.chisquare(10, size=400_000) / 10)
    largest = np.abs((means[:, first] - means[:, second]) / family.scale).max(axis=1) / s
    cs = np.array([1.5, 2.5, 3.2])
    simulated = (largest[:, None] > cs).mean(axis=0)
    error = np.sqrt(simulated * (1 - simulated) / 400_000)
    assert (np.abs(tail(cs, family, 10.0) - simulated) < 4 * error).all()


@pytest.mark.parametrize("name", ["crd", "rcbd", "rcbd_lost", "latin", "latin_lost"])
@pytest.mark.parametrize("kind", ["Dunnett", "Tukey"])
def test_adjusted_p_values_agree_with_multcomp(name, kind):
    # multcomp integrates by quasi-Monte Carlo: the tolerance is its accuracy and ours together.
    options = reference.BLOCKING[name] | ({"control": "A"} if kind == "Dunnett" else {})
    done = tk.analyze(reference.case(name), response="y", treatment="treatment", **options)
    wanted = reference.values(name)
    for row in done.contrasts.itertuples():
        theirs = wanted[f"{kind}|{row.treatment} - {row.versus}"]
        assert row.p_adjusted == pytest.approx(theirs, abs=3e-4)


@pytest.mark.parametrize("name", ["crd", "rcbd_lost", "latin_lost"])
def test_unadjusted_contrasts_agree_with_emmeans(name):
    options = reference.BLOCKING[name]
    done = tk.analyze(reference.case(name), response="y", treatment="treatment", **options)
    wanted = reference.values(name)
    for row in done.contrasts.itertuples():
        pair = f"{row.treatment} - {row.versus}"
        assert row.estimate == pytest.approx(wanted[f"difference|{pair}"], rel=1e-6)
        assert row.se == pytest.approx(wanted[f"difference_se|{pair}"], rel=1e-6)
        assert row.p == pytest.approx(wanted[f"difference_p|{pair}"], rel=1e-6)


@pytest.mark.parametrize("how", ["dunnett", "tukey", "none"])
def test_an_interval_excludes_zero_exactly_when_p_is_below_the_level(how):
    for seed in range(20):
        rng = np.random.default_rng(seed)
        frame = reference.case("rcbd_lost").assign(y=lambda f: f["y"] + rng.normal(0, 1, len(f)))  # noqa: B023
        done = tk.analyze(frame, response="y", treatment="treatment", block="block", control="A",
                          adjust=how)  # fmt: skip
        excludes = (done.contrasts["low"] > 0) | (done.contrasts["high"] < 0)
        assert (excludes == (done.contrasts["p_adjusted"] < 0.05)).all()


def test_the_same_data_give_the_same_digits():
    V = rcbd_lost_covariance()
    first = tail(np.array([2.5]), comparisons(V, ALL), 10.0)
    second = tail(np.array([2.5]), comparisons(V.copy(), list(ALL)), 10.0)
    assert first[0] == second[0]


def test_holm_agrees_with_statsmodels():
    from statsmodels.stats.multitest import multipletests

    p = np.array([0.001, 0.2, 0.012, 0.04, 0.9])
    np.testing.assert_allclose(holm(p), multipletests(p, method="holm")[1], rtol=1e-12)


def test_sidak_keeps_small_p_values_precise():
    assert sidak(np.array([1e-20]), 10)[0] == pytest.approx(1e-19, rel=1e-9)


def test_false_discovery_agrees_with_statsmodels_and_skips_the_unknown():
    from statsmodels.stats.multitest import multipletests

    p = np.array([0.001, 0.2, np.nan, 0.012, 0.04])
    known = multipletests(p[~np.isnan(p)], method="fdr_bh")[1]
    np.testing.assert_allclose(false_discovery(p)[[0, 1, 3, 4]], known, rtol=1e-12)
    assert np.isnan(false_discovery(p)[2])


def test_many_different_degrees_of_freedom_are_interpolated_closely():
    df = np.array([7.1, 7.9, 8.4, 9.0])
    done = adjust(np.full(4, 2.0), df, np.eye(5), STAR, how="dunnett")
    direct = [critical(0.95, comparisons(np.eye(5), STAR), d) for d in df]
    np.testing.assert_allclose(done.critical, direct, rtol=1e-4)
