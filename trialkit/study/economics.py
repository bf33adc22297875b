"""Prices, labour and handling: the optional ``[economics]`` part of study.toml.

Money is in the study's one ``currency``. Costs, hours and returns are per field area: an acre where
the study's units are US, a hectare where they are SI. Weights are in lb or kg. A number that cannot
be used is no fault of the study as a whole: ``economics_faults`` tells of it, and
everything but the money is still reported.
"""

from typing import Final

from pydantic import Field

from trialkit.study.parts import Identifier, Part
from trialkit.study.units import UnitSystem, to_display

Amount = float | str
FIELD_AREA: Final[dict[UnitSystem, str]] = {"us": "acre", "si": "ha"}
WEIGHT_UNIT: Final[dict[UnitSystem, str]] = {"us": "lb", "si": "kg"}


class EventLabour(Part):
    """Hours of work per field area that an event of a treatment takes each time it happens."""

    treatment: Identifier
    event: str
    hours: Amount


class Economics(Part):
    """What is sold, at which price, and what handling it takes.

    ``prices`` maps the grades ``marketable`` and ``cull`` to a price per lb or kg; a grade without
    a price is not sold. ``picking_hours`` and ``packing`` (money) are per lb or kg that is sold,
    ``wage`` per hour. ``yield_adjustment`` is by how many percent a farmer's field yields less
    than small plots. ``minimum_return`` is the marginal rate of return (percent) that a grower
    asks for. The factors multiply price and costs in the grid of both.
    """

    measure: Identifier = "marketable_yield"
    prices: dict[str, Amount] = Field(default_factory=dict)
    wage: Amount = 0.0
    picking_hours: Amount = 0.0
    packing: Amount = 0.0
    yield_adjustment: Amount = 0.0
    minimum_return: Amount = 100.0
    labour: tuple[EventLabour, ...] = ()
    price_factors: tuple[float, ...] = (0.5, 0.75, 1.0, 1.25, 1.5)
    cost_factors: tuple[float, ...] = (0.5, 0.75, 1.0, 1.5, 2.0)
    runs: int = Field(default=20_000, ge=100, le=1_000_000)


def per_field_area(value: float, units: UnitSystem) -> float:
    """Turn kg/m² into lb per acre or kg per hectare.

    >>> round(per_field_area(2.0, "si"), 6), round(per_field_area(2.0, "us"), 1)
    (20000.0, 17843.7)
    """
    shown = float(to_display(value, "yield_area", units))
    return shown if units == "us" else 1000.0 * shown
