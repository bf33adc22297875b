"""Growing degree-days of a day from its lowest and highest temperature, in °C days."""

import numpy as np
from numpy.typing import ArrayLike


def simple_average(
    tmin: ArrayLike, tmax: ArrayLike, base: float, ceiling: float | None = None
) -> np.ndarray:
    """Return degree-days by the simple average with cut-offs.

    D = M - base, with the day's mean M = (tmin + tmax) / 2 raised to ``base`` where it is lower
    and lowered to ``ceiling`` where it is higher; the first method of McMaster & Wilhelm 1997,
    Agricultural and Forest Meteorology 87:291-300.

    Parameters
    ----------
    tmin, tmax : (n,) lowest and highest temperature of each day, °C; NaN gives NaN.
    base, ceiling : lower and upper cut-off, °C.

    Examples
    --------
    >>> simple_average([5.0], [25.0], base=10.0).tolist()
    [5.0]
    """
    mean = (np.asarray(tmin, dtype=float) + np.asarray(tmax, dtype=float)) / 2.0
    return np.clip(mean, base, ceiling) - base


def single_sine(
    tmin: ArrayLike, tmax: ArrayLike, base: float, ceiling: float | None = None
) -> np.ndarray:
    """Return degree-days under one sine curve through the day's lowest and highest temperature.

    With M the mean and W half the range of the day, and a = arcsin((base - M) / W), a day that
    crosses ``base`` has D = ((M - base) * (pi/2 - a) + W * cos(a)) / pi; Baskerville & Emin 1969,
    Ecology 50:514-517. With a ceiling, the area above the ceiling is taken off (horizontal
    cut-off): D(base) - D(ceiling).

    Parameters
    ----------
    tmin, tmax : (n,) lowest and highest temperature of each day, °C; NaN gives NaN.
    base, ceiling : lower and upper cut-off, °C.

    Examples
    --------
    >>> single_sine([5.0], [25.0], base=10.0).round(2).tolist()
    [6.09]
    """
    low, high = np.asarray(tmin, dtype=float), np.asarray(tmax, dtype=float)
    above = _area_above(low, high, base)
    return above if ceiling is None else above - _area_above(low, high, ceiling)


def _area_above(low: np.ndarray, high: np.ndarray, threshold: float) -> np.ndarray:
    """Mean over the day of the sine curve's height above a threshold."""
    middle, half = (low + high) / 2.0, (high - low) / 2.0
    crosses = (low < threshold) & (threshold < high)
    steep = np.divide(threshold - middle, half, out=np.zeros_like(middle), where=crosses)
    angle = np.arcsin(np.clip(steep, -1.0, 1.0))
    crossing = ((middle - threshold) * (np.pi / 2 - angle) + half * np.cos(angle)) / np.pi
    # np.clip keeps NaN, so a day without a temperature stays without a sum.
    return np.where(crosses, crossing, np.clip(middle - threshold, 0.0, None))
