"""The sequential decision rule: its lines by hand, its errors by simulation."""

import numpy as np
import pytest
from scipy import stats

from trialkit.errors import AnalysisError
from trialkit.planning.sequential import SequentialRule, error_curve

RULE = SequentialRule(safe=2.0, harmful=4.0, k=1.0, alpha=0.1, beta=0.1, fewest=1, most=400)


def test_the_lines_by_hand():
    """k = 1, means 2 and 4: step ln(4 x 3 / (2 x 5)) = ln 1.2; slope ln(5/3) / ln 1.2 = 2.8018;
    intercepts ± ln 9 / ln 1.2 = ± 12.0515."""
    assert RULE.slope == pytest.approx(2.8018, abs=5e-5)
    assert RULE.upper == pytest.approx(12.0514, abs=5e-4)
    assert RULE.lower == pytest.approx(-12.0514, abs=5e-4)


def test_the_lines_are_the_likelihood_ratio():
    """At the upper line the likelihood of any counts with that total is (1 - beta) / alpha."""
    counts = np.array([5, 9, 2, 0, 11, 7])

    def log_likelihood(mean):
        return stats.nbinom.logpmf(counts, RULE.k, RULE.k / (RULE.k + mean)).sum()

    ratio = log_likelihood(RULE.harmful) - log_likelihood(RULE.safe)
    height = counts.sum() - RULE.slope * counts.size
    assert ratio == pytest.approx(height * np.log(9) / RULE.upper)


def test_errors_are_at_most_about_what_was_asked_for():
    curve = error_curve(RULE, [2.0, 4.0])
    assert curve.loc[0, "chance_to_act"] < 0.12
    assert curve.loc[1, "chance_to_act"] > 0.88


def test_the_chance_to_act_rises_with_the_mean():
    curve = error_curve(RULE, [1.0, 2.0, 3.0, 4.0, 6.0])
    assert (np.diff(curve["chance_to_act"]) > 0).all()


def test_clear_cases_need_few_plants_and_doubtful_ones_many():
    curve = error_curve(RULE, [0.5, 2.8, 12.0]).set_index("mean")["plants"]
    assert curve[0.5] < curve[2.8] / 2
    assert curve[12.0] < curve[2.8] / 2


def test_the_card_by_hand():
    """Lines 2.8018 n ± 12.0514: after 4 plants 23.26 and -0.84, after 8 plants 34.47 and 10.36."""
    card = SequentialRule(2.0, 4.0, 1.0, fewest=4, most=8).card(step=4)
    assert card["act_at"].tolist() == [24, 35]
    assert card["do_not_act_at"].isna().tolist() == [True, False]
    assert card.loc[1, "do_not_act_at"] == 10


@pytest.mark.parametrize("wrong", [(0.0, 4.0, 1.0), (4.0, 2.0, 1.0), (2.0, 4.0, 0.0)])
def test_impossible_means_are_refused(wrong):
    with pytest.raises(AnalysisError, match="sequential rule needs"):
        SequentialRule(*wrong)
