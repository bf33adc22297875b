"""Units: what people type and read (US or SI) against what the program computes in (SI)."""

from functools import lru_cache
from typing import TYPE_CHECKING, Any, Final, Literal

if TYPE_CHECKING:
    import pint

UnitSystem = Literal["us", "si"]

# quantity: (canonical unit, SI display unit, US display unit); pint's own unit names.
_UNITS: Final[dict[str, tuple[str, str, str]]] = {
    "weight": ("kg", "kg", "lb"),
    "area": ("m**2", "m**2", "ft**2"),
    "length": ("mm", "mm", "inch"),
    "distance": ("m", "m", "ft"),
    "rain": ("mm", "mm", "inch"),
    "temperature": ("degC", "degC", "degF"),
    "degree_days": ("delta_degC", "delta_degC", "delta_degF"),
    "yield_area": ("kg/m**2", "t/ha", "lb/acre"),
    "weight_plant": ("kg", "kg", "lb"),
    "weight_fruit": ("kg", "g", "oz"),
}

_LABELS: Final = {
    "m**2": "m²",
    "ft**2": "ft²",
    "inch": "in",
    "degC": "°C",
    "degF": "°F",
    "delta_degC": "°C days",
    "delta_degF": "°F days",
}


@lru_cache(maxsize=1)
def _registry() -> "pint.UnitRegistry":
    # Loaded when a number is converted: a render with nothing due converts none.
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=64)
def _line(source: str, target: str) -> tuple[float, float]:
    """Slope and intercept of the conversion; every unit used here converts by a straight line."""
    registry = _registry()
    zero = registry.Quantity(0.0, source).to(target).magnitude
    hundred = registry.Quantity(100.0, source).to(target).magnitude
    return (hundred - zero) / 100.0, zero


def know_every_conversion() -> None:
    """Work out every conversion now, for those that come after in this process or its forks."""
    for canonical, *displayed in _UNITS.values():
        for unit in displayed:
            _line(unit, canonical)
            _line(canonical, unit)


def is_quantity(name: str) -> bool:
    """Say whether ``name`` is a quantity that converts between SI and US units."""
    return name in _UNITS


def display_unit(quantity: str, units: UnitSystem) -> str:
    """Return pint's name of the unit in which people of ``units`` type and read ``quantity``."""
    _, si, us = _UNITS[quantity]
    return us if units == "us" else si


def unit_label(quantity: str, units: UnitSystem) -> str:
    """Return the unit as printed; a quantity that needs no conversion is its own label.

    >>> unit_label("area", "us")
    'ft²'
    >>> unit_label("days", "us")
    'days'
    """
    if quantity not in _UNITS:
        return quantity
    unit = display_unit(quantity, units)
    return _LABELS.get(unit, unit)


def to_canonical(value: Any, quantity: str, units: UnitSystem, unit: str | None = None) -> Any:
    """Convert a number or array typed in ``unit`` (default: the study's own) to canonical SI.

    >>> round(to_canonical(1.0, "weight", "us"), 6)
    0.453592
    """
    slope, shift = _line(unit or display_unit(quantity, units), _UNITS[quantity][0])
    return value * slope + shift


def to_display(value: Any, quantity: str, units: UnitSystem) -> Any:
    """Convert a canonical number or array to the unit that people of ``units`` read.

    A quantity that needs no conversion (days, percent, counts) comes back as it is.

    >>> round(to_display(1.0, "yield_area", "si"), 6)
    10.0
    """
    if quantity not in _UNITS:
        return value
    slope, shift = _line(_UNITS[quantity][0], display_unit(quantity, units))
    return value * slope + shift


def is_unit_of(unit: str, quantity: str) -> bool:
    """Say whether ``unit`` is a unit that pint knows and that measures ``quantity``."""
    from pint import UndefinedUnitError

    try:
        given = _registry().Unit(unit)
    except (UndefinedUnitError, ValueError):
        return False
    return bool(given.dimensionality == _registry().Unit(_UNITS[quantity][0]).dimensionality)
