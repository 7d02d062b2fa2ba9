"""The table of units: by kind of quantity, each with its factor and definition.

value in SI = factor · value + offset. A unit belongs to a *kind*, so that a temperature and a
temperature difference, a gauge and an absolute pressure, an electrical frequency and a rotation
speed cannot be taken for one another. Where nothing else is said a factor is exact
(international yard and pound, 1959).
"""

from math import pi
from typing import NamedTuple


class Unit(NamedTuple):
    """One unit: value in SI = factor · value + offset."""

    factor: float
    offset: float = 0.0
    definition: str = "SI"
    also: tuple[str, ...] = ()
    """Other ways in which people write it."""


FOOT, INCH, POUND, GRAVITY = 0.3048, 0.0254, 0.45359237, 9.80665
"""[m], [m], [kg], [m/s²]; the last by convention (CGPM 1901)."""

PSI = POUND * GRAVITY / INCH**2
"""[Pa], 6894.757: a pound-force on a square inch."""

_SI = Unit(1.0)

_PRESSURES = {
    "Pa": _SI,
    "hPa": Unit(100.0, 0.0, "100 Pa"),
    "kPa": Unit(1e3, 0.0, "1000 Pa"),
    "MPa": Unit(1e6, 0.0, "10⁶ Pa"),
    "mbar": Unit(100.0, 0.0, "100 Pa"),
    "bar": Unit(1e5, 0.0, "10⁵ Pa"),
    "psi": Unit(PSI, 0.0, "1 lbf/in²", ("lbf/in2", "lb/in2")),
}

KINDS: dict[str, dict[str, Unit]] = {
    "time": {
        "s": Unit(1.0, also=("sec", "second", "seconds")),
        "ms": Unit(1e-3, 0.0, "0.001 s", ("millisecond", "milliseconds")),
        "min": Unit(60.0, 0.0, "60 s", ("minute", "minutes")),
        "h": Unit(3600.0, 0.0, "3600 s", ("hr", "hrs", "hour", "hours")),
        "d": Unit(86400.0, 0.0, "86400 s", ("day", "days")),
    },
    "length": {
        "m": _SI,
        "mm": Unit(1e-3, 0.0, "0.001 m"),
        "cm": Unit(1e-2, 0.0, "0.01 m"),
        "km": Unit(1e3, 0.0, "1000 m"),
        "in": Unit(INCH, 0.0, "0.0254 m", ("inch", "inches")),
        "ft": Unit(FOOT, 0.0, "0.3048 m", ("foot", "feet")),
    },
    "area": {
        "m2": Unit(1.0, also=("sqm",)),
        "cm2": Unit(1e-4, 0.0, "10⁻⁴ m²"),
        "mm2": Unit(1e-6, 0.0, "10⁻⁶ m²"),
        "ft2": Unit(FOOT**2, 0.0, "0.3048² m²", ("sqft",)),
        "in2": Unit(INCH**2, 0.0, "0.0254² m²", ("sqin",)),
    },
    "volume": {
        "m3": _SI,
        "l": Unit(1e-3, 0.0, "0.001 m³", ("litre", "litres", "liter", "liters")),
        "ft3": Unit(FOOT**3, 0.0, "0.3048³ m³", ("cuft",)),
    },
    "volume flow": {
        "m3/s": _SI,
        "m3/min": Unit(1 / 60.0, 0.0, "1 m³ in 60 s"),
        "m3/h": Unit(1 / 3600.0, 0.0, "1 m³ in 3600 s", ("m3/hr",)),
        "l/s": Unit(1e-3, 0.0, "0.001 m³/s"),
        "cfm": Unit(FOOT**3 / 60.0, 0.0, "1 ft³ in 60 s", ("ft3/min", "acfm")),
        "ft3/s": Unit(FOOT**3, 0.0, "0.3048³ m³/s", ("cfs",)),
    },
    "mass flow": {
        "kg/s": _SI,
        "kg/h": Unit(1 / 3600.0, 0.0, "1 kg in 3600 s", ("kg/hr",)),
        "t/h": Unit(1 / 3.6, 0.0, "1000 kg in 3600 s", ("t/hr",)),
        "lb/s": Unit(POUND, 0.0, "0.45359237 kg/s", ("lbm/s",)),
        "lb/min": Unit(POUND / 60.0, 0.0, "1 lb in 60 s", ("lbm/min",)),
        "lb/h": Unit(POUND / 3600.0, 0.0, "1 lb in 3600 s", ("lb/hr", "lbm/h", "lbm/hr")),
    },
    "pressure": _PRESSURES | {
        "psi": Unit(PSI, 0.0, "1 lbf/in²", ("lbf/in2", "lb/in2", "psig", "psid")),
        "in. w.g.": Unit(
            INCH * 1000.0 * GRAVITY,
            0.0,
            "249.08891 Pa, conventional: water of 1000 kg/m³; it is 248.84 Pa with water at 60 °F",
            ("in. w.c.", "in. H2O", "in. wtr"),
        ),
        "mm w.g.": Unit(9.80665, 0.0, "conventional: water of 1000 kg/m³", ("mm H2O", "mm w.c.")),
    },
    "absolute pressure": _PRESSURES | {
        "psi": Unit(PSI, 0.0, "1 lbf/in²", ("psia", "lbf/in2", "lb/in2")),
        "atm": Unit(101325.0, 0.0, "101325 Pa"),
        "in. Hg": Unit(
            INCH * 13595.1 * GRAVITY, 0.0, "conventional: mercury of 13595.1 kg/m³"
        ),
        "mm Hg": Unit(13.5951 * GRAVITY, 0.0, "conventional: mercury of 13595.1 kg/m³"),
    },
    "temperature": {
        "K": Unit(1.0, also=("kelvin",)),
        "degC": Unit(1.0, 273.15, "T/K − 273.15", ("C", "celsius")),
        "degF": Unit(5 / 9, 459.67 * 5 / 9, "9/5·T/K − 459.67", ("F", "fahrenheit")),
    },
    "temperature difference": {
        "K": _SI,
        "degC": Unit(1.0, 0.0, "1 K", ("C",)),
        "degF": Unit(5 / 9, 0.0, "5/9 K", ("F",)),
    },
    "density": {
        "kg/m3": _SI,
        "lb/ft3": Unit(POUND / FOOT**3, 0.0, "0.45359237/0.3048³ kg/m³", ("lbm/ft3", "pcf")),
    },
    "power": {
        "W": _SI,
        "kW": Unit(1e3, 0.0, "1000 W"),
        "MW": Unit(1e6, 0.0, "10⁶ W"),
        "hp": Unit(550 * FOOT * POUND * GRAVITY, 0.0, "550 ft·lbf/s, 745.69987 W", ("bhp",)),
    },
    "energy": {
        "J": _SI,
        "kJ": Unit(1e3, 0.0, "1000 J"),
        "MJ": Unit(1e6, 0.0, "10⁶ J"),
        "Wh": Unit(3600.0, 0.0, "3600 J"),
        "kWh": Unit(3.6e6, 0.0, "3.6·10⁶ J"),
        "MWh": Unit(3.6e9, 0.0, "3.6·10⁹ J"),
    },
    "inertia": {
        "kg m2": _SI,
        "lb ft2": Unit(POUND * FOOT**2, 0.0, "0.45359237·0.3048² kg·m²", ("lbm ft2",)),
    },
    "rotation speed": {
        "rad/s": _SI,
        "rpm": Unit(2 * pi / 60, 0.0, "2π rad in 60 s", ("1/min", "r/min", "rev/min")),
    },
    "frequency": {"Hz": Unit(1.0, also=("hertz",))},
    "repeat rate": {
        "1/s": Unit(1.0, also=("/s", "repeats/s", "repeat/s")),
        "1/min": Unit(1 / 60.0, 0.0, "1 in 60 s", ("/min", "repeats/min", "repeat/min", "rpt/min")),
    },
    "integral gain": {
        "1/s": Unit(1.0, also=("/s",)),
        "1/min": Unit(1 / 60.0, 0.0, "1 in 60 s", ("/min",)),
    },
    "fraction": {"%": Unit(0.01, 0.0, "1/100", ("percent",))},
    "gas constant": {"J/(kg K)": _SI, "kJ/(kg K)": Unit(1e3, 0.0, "1000 J/(kg·K)")},
    "voltage": {"V": _SI, "kV": Unit(1e3, 0.0, "1000 V")},
    "current": {"A": _SI, "kA": Unit(1e3, 0.0, "1000 A")},
    "torque": {
        "N m": _SI,
        "kN m": Unit(1e3, 0.0, "1000 N·m"),
        "lb ft": Unit(POUND * GRAVITY * FOOT, 0.0, "1 ft·lbf", ("lbf ft", "ft lb", "ft lbf")),
    },
    "velocity": {
        "m/s": _SI,
        "ft/s": Unit(FOOT, 0.0, "0.3048 m/s", ("fps",)),
        "ft/min": Unit(FOOT / 60.0, 0.0, "0.3048 m in 60 s", ("fpm",)),
    },
}

EXAMPLES: dict[str, str] = {
    "time": "12 s",
    "length": "20 m",
    "area": "4 m2",
    "volume": "600 m3",
    "volume flow": "45 m3/s",
    "mass flow": "54 kg/s",
    "pressure": "3.5 kPa",
    "absolute pressure": "98.6 kPa",
    "temperature": "30 degC",
    "temperature difference": "10 K",
    "density": "1.2 kg/m3",
    "power": "315 kW",
    "energy": "12 kWh",
    "inertia": "280 kg m2",
    "rotation speed": "990 rpm",
    "frequency": "50 Hz",
    "repeat rate": "2 1/min",
    "integral gain": "0.08 1/s",
    "fraction": "30 %",
    "gas constant": "287.05 J/(kg K)",
    "voltage": "690 V",
    "current": "320 A",
    "torque": "3 kN m",
    "velocity": "12 m/s",
}

PREFERRED: dict[str, tuple[str, str]] = {
    "time": ("s", "s"),
    "length": ("m", "ft"),
    "area": ("m2", "ft2"),
    "volume": ("m3", "ft3"),
    "volume flow": ("m3/s", "cfm"),
    "mass flow": ("kg/s", "lb/s"),
    "pressure": ("Pa", "in. w.g."),
    "absolute pressure": ("kPa", "in. Hg"),
    "temperature": ("degC", "degF"),
    "temperature difference": ("K", "degF"),
    "density": ("kg/m3", "lb/ft3"),
    "power": ("kW", "hp"),
    "energy": ("kWh", "kWh"),
    "inertia": ("kg m2", "lb ft2"),
    "rotation speed": ("rpm", "rpm"),
    "frequency": ("Hz", "Hz"),
    "repeat rate": ("1/min", "1/min"),
    "integral gain": ("1/s", "1/s"),
    "fraction": ("%", "%"),
    "gas constant": ("J/(kg K)", "J/(kg K)"),
    "voltage": ("V", "V"),
    "current": ("A", "A"),
    "torque": ("N m", "lb ft"),
    "velocity": ("m/s", "ft/min"),
}
"""Kind → unit shown to people who think in SI, in US units."""
