"""Areas under counts and scores through the season: insect-days, area under the progress curve."""

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from trialkit.errors import AnalysisError


def area_under_progress_curve(days: ArrayLike, score: ArrayLike) -> float:
    """Return the area under a disease or damage progress curve, in score-days.

    A = sum over i of (y[i] + y[i+1]) / 2 * (t[i+1] - t[i]), the trapezoid rule of Shaner & Finney
    1977, Phytopathology 67:1051-1056.

    Parameters
    ----------
    days : (n,) times in days, strictly increasing, n >= 2.
    score : (n,) score at each time, in its own unit.

    Raises
    ------
    AnalysisError
        if the two differ in length, hold fewer than two visits, a missing number, or times that
        do not increase.

    Examples
    --------
    >>> area_under_progress_curve([0, 2, 5, 6], [1, 2, 7, 7.5])
    23.75
    """
    t, y = _checked(days, score)
    return float(np.trapezoid(y, t))


def insect_days(days: ArrayLike, count: ArrayLike) -> float:
    """Return cumulative insect-days: one insect on the plant for one day is one insect-day.

    D = sum over i of (x[i] + x[i+1]) / 2 * (t[i+1] - t[i]), Ruppel 1983, Journal of Economic
    Entomology 76:375-377.

    Parameters
    ----------
    days : (n,) times in days, strictly increasing, n >= 2.
    count : (n,) mean count per plant at each visit.

    Raises
    ------
    AnalysisError
        as :func:`area_under_progress_curve`, and if a count is negative.

    Examples
    --------
    Two insects a plant for a week, then a fall to none within another week:

    >>> insect_days([0, 7, 14], [2, 2, 0])
    21.0
    """
    if (np.asarray(count, dtype=float) < 0).any():
        raise AnalysisError("A count is negative. Counts start at 0; correct the entry.")
    return area_under_progress_curve(days, count)


def areas_by_plot(visits: pd.DataFrame, height: str) -> pd.Series:
    """Return the area under ``height`` over each plot's own dates, in height-days, by plot.

    ``visits`` has one row per plot and date, with columns plot, date (datetime64) and ``height``.
    A plot with a single date has area 0, one with a missing height has none (NaN).
    """
    ordered = visits.sort_values(["plot", "date"], kind="stable")
    by_plot = ordered.groupby("plot", observed=True, sort=True)
    width = by_plot["date"].diff().dt.total_seconds() / 86400.0
    middle = (ordered[height] + by_plot[height].shift()) / 2.0
    # The first visit has no strip before it; any other hole must not pass as an area of 0.
    strips = (width * middle).mask(width.isna(), 0.0)
    return strips.groupby(ordered["plot"], observed=True).sum(skipna=False)


def _checked(days: ArrayLike, height: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    t, y = np.asarray(days, dtype=float), np.asarray(height, dtype=float)
    if t.ndim != 1 or t.shape != y.shape:
        raise AnalysisError("Give as many times as values. One value belongs to one visit.")
    if len(t) < 2:
        raise AnalysisError("An area needs at least two visits. Add a visit or leave it out.")
    if not (np.isfinite(t).all() and np.isfinite(y).all()):
        raise AnalysisError("A time or value is missing. Leave the visit out or fill it in.")
    if (np.diff(t) <= 0).any():
        raise AnalysisError("Times must increase from visit to visit. Sort them; average repeats.")
    return t, y
