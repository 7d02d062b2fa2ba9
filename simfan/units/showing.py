"""From SI to what a person reads: "45 m3/s", "95350 cfm"."""

from math import isfinite
from typing import Literal

from simfan.units.reading import unit_of
from simfan.units.table import PREFERRED

System = Literal["si", "us"]


def convert(value_si: float, kind: str, unit: str) -> float:
    """The SI value counted in `unit`. Raises UnitError where `kind` has no such unit."""
    known = unit_of(unit, kind)
    return (value_si - known.offset) / known.factor


def preferred(kind: str, system: System = "si") -> str:
    """The unit in which this kind is shown to people."""
    return PREFERRED[kind][system == "us"]


def show(value_si: float, kind: str, system: System = "si", digits: int = 3) -> str:
    """Number and unit for people, such as "45 m3/s", to so many significant digits."""
    unit = preferred(kind, system)
    return f"{significant(convert(value_si, kind, unit), digits)} {unit}"


def significant(value: float, digits: int = 3) -> str:
    """The number to so many significant digits, without an exponent where one can do without.

    Digits left of the point are never rounded away: 4373 to 3 digits is 4373.
    """
    if not isfinite(value) or value == 0.0:
        return f"{value:g}".replace("-0", "0")
    whole = len(f"{abs(value):.0f}")
    if digits <= whole <= 9:
        return f"{value:.0f}"
    return f"{value:.{digits}g}"
