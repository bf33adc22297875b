"""Where ticks stand and what they say, worked out from the limits alone."""

from collections.abc import Callable, Sequence
from typing import Final

from matplotlib.ticker import MaxNLocator

from trialkit.figures import labels

STEPS: Final = (1, 2, 2.5, 5, 10)
MANY_STEPS: Final = (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10)


def round_ticks(
    low: float,
    high: float,
    parts: int,
    said: Callable[[float], str] | None = None,
    steps: Sequence[float] = STEPS,
) -> dict[float, str]:
    """Return round numbers between two limits, at most ``parts`` steps apart, with their labels.

    >>> round_ticks(0, 6.2, 4)
    {0.0: '0', 2.0: '2', 4.0: '4', 6.0: '6'}
    """
    left, right = sorted((low, high))
    reach = 1e-9 * (right - left)
    found = MaxNLocator(parts, steps=steps).tick_values(left, right)
    places = [float(place) for place in found if left - reach <= place <= right + reach]
    say = said or _alike(places)
    return {place: say(place) for place in places}


def _alike(places: list[float]) -> Callable[[float], str]:
    """Write all with the decimals that their steps need."""
    step = places[1] - places[0] if len(places) > 1 else 1.0
    needed = (n for n in range(12) if abs(round(step, n) - step) < 1e-6 * step)
    digits = next(needed, 0)
    return lambda value: f"{value:.{digits}f}".replace("-", labels.MINUS)
