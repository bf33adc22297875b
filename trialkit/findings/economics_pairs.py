"""Every treatment against every other in money: difference in net return, interval, chance.

Dominance on estimates alone says which of two treatments came out better; this says how sure that
is. Money is linear in yield, so that the interval is the t interval of the difference in yield.
"""

from typing import Final

import numpy as np
import pandas as pd
from scipy import stats

from trialkit.findings.gain import closed_form
from trialkit.inference.estimates import MarginalMeans

PAIRS: Final = ("treatment", "other", "gain", "gain_low", "gain_high", "chance")


def pairs_of(
    means: MarginalMeans, worth: float, spent: np.ndarray, level: float = 0.95
) -> pd.DataFrame:
    """Return what each treatment returns more than each other one (columns PAIRS).

    ``worth`` is the money that one unit of the response brings, ``spent`` (k,) the costs. With
    yields m, covariance V and costs c, the gain of i over j is w (m_i - m_j) - (c_i - c_j), its
    standard error w sqrt(V_ii + V_jj - 2 V_ij), on the degrees of freedom of the pair.

    >>> means = MarginalMeans(("check", "net"), np.array([2.0, 2.5]), np.eye(2) * 0.02,
    ...                       np.full(2, np.inf), np.full((2, 2), np.inf), "identity",
    ...                       np.array([4, 4]))
    >>> table = pairs_of(means, 100.0, np.array([0.0, 20.0]))
    >>> table["gain"].tolist(), table["chance"].round(2).tolist()     # Phi(30 / 20)
    ([-30.0, 30.0], [0.07, 0.93])
    """
    k = len(means.treatments)
    i, j = np.array([(i, j) for i in range(k) for j in range(k) if i != j]).reshape(-1, 2).T
    names = np.array(means.treatments, dtype=object)
    gain, reach, chance = _gains(means, (i, j), worth, spent, level)
    columns = (names[i], names[j], gain, gain - reach, gain + reach, chance)
    return pd.DataFrame(dict(zip(PAIRS, columns, strict=True)))


def _gains(
    means: MarginalMeans,
    pair: tuple[np.ndarray, np.ndarray],
    worth: float,
    spent: np.ndarray,
    level: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return gain, half the width of its interval and chance of every pair."""
    i, j = pair
    m, v, df = means.estimate, means.covariance, means.pair_df[i, j]
    gain = worth * (m[i] - m[j]) - (spent[i] - spent[j])
    se = abs(worth) * np.sqrt(np.maximum(v[i, i] + v[j, j] - 2 * v[i, j], 0.0))
    reach = np.where(se == 0, 0.0, stats.t.ppf((1 + level) / 2, df) * se)
    return gain, reach, closed_form(gain, se, df)
