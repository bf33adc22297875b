"""The negative binomial says where it cannot be fitted, and why."""

import pandas as pd
import pytest

from trialkit.errors import AnalysisError
from trialkit.inference.design import Design, make_design
from trialkit.inference.negative_binomial import fit_negative_binomial


def design(counts: list[float]) -> Design:
    frame = pd.DataFrame({"y": counts, "t": list("ab") * (len(counts) // 2)})
    return make_design(frame, response="y", treatment="t", family="count")


@pytest.mark.parametrize(("counts", "words"), [
    ([4, 8, 4, 9, 5, 8], "vary no more than chance"),
    ([0, 8, 0, 2, 0, 30], "has no insect at all"),
    ([1.5, 8, 4, 2, 9, 30], "whole counts"),
])  # fmt: skip
def test_data_it_cannot_fit_are_named(counts, words):
    with pytest.raises(AnalysisError, match=words):
        fit_negative_binomial(design(counts))


def test_the_criterion_counts_k_as_a_parameter():
    found = fit_negative_binomial(design([2, 4, 9, 1, 20, 3, 1, 8]))
    assert found.aic == pytest.approx(2 * 3 - 2 * found.log_likelihood)
