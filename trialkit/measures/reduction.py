"""Percent reduction against an untreated check: Abbott, and Henderson-Tilton with pre-counts."""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trialkit.errors import AnalysisError


def abbott(check: ArrayLike, treated: ArrayLike) -> Any:
    """Return the percent by which what lives in the treated plots falls short of the check.

    P = 100 * (1 - treated / check), where both are survivors (or insects, or damage) per unit;
    Abbott 1925, Journal of Economic Entomology 18:265-267. Negative where there are more in the
    treated plots. NaN where the check has none, because nothing can then be reduced.

    Parameters
    ----------
    check, treated : survivors in the check and in the treated plots, same unit, >= 0; numbers or
        arrays that broadcast.

    Raises
    ------
    AnalysisError
        if a number is negative.

    Examples
    --------
    50 % dead in the check and 98 % dead in the treated leave 50 and 2 in a hundred alive:

    >>> abbott(50, 2)
    96.0
    """
    control, other = _not_negative(check), _not_negative(treated)
    return _percent_short_of_one(_ratio(other, control))


def henderson_tilton(
    check_before: ArrayLike, check_after: ArrayLike, before: ArrayLike, after: ArrayLike
) -> Any:
    """Return the percent reduction where treated and check differed before the treatment.

    P = 100 * (1 - (after / before) * (check_before / check_after)); Henderson & Tilton 1955,
    Journal of Economic Entomology 48:157-161. NaN where ``before`` or ``check_after`` is 0.

    Parameters
    ----------
    check_before, check_after : counts in the check before and after.
    before, after : counts in the treated plots before and after; numbers or arrays, >= 0.

    Raises
    ------
    AnalysisError
        if a number is negative.

    Examples
    --------
    The check rises from 100 to 150 while the treated falls from 100 to 30:

    >>> henderson_tilton(100, 150, 100, 30)
    80.0
    """
    change = _ratio(_not_negative(after), _not_negative(before))
    expected = _ratio(_not_negative(check_before), _not_negative(check_after))
    return _percent_short_of_one(change * expected)


def _not_negative(numbers: ArrayLike) -> np.ndarray:
    array = np.asarray(numbers, dtype=float)
    if (array < 0).any():
        raise AnalysisError("A count is negative. Counts start at 0; correct the entry.")
    return array


def _ratio(top: np.ndarray, bottom: np.ndarray) -> np.ndarray:
    top, bottom = np.broadcast_arrays(top, bottom)
    return np.divide(top, bottom, out=np.full(top.shape, np.nan), where=bottom > 0)


def _percent_short_of_one(ratio: np.ndarray) -> Any:
    # 100 - 100 r keeps whole percents exact where 100 (1 - r) would not.
    percent = 100.0 - 100.0 * np.asarray(ratio)
    return float(percent) if percent.ndim == 0 else percent
