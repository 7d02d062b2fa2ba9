"""Units: held against pint, against published constants, and against themselves."""

import json
from math import pi

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simfan import units
from simfan.errors import SimfanError, UnitError
from simfan.units.reading import _fold

PINT_NAMES = {
    ("time", "s"): "second", ("time", "ms"): "millisecond", ("time", "min"): "minute",
    ("time", "h"): "hour", ("time", "d"): "day",
    ("length", "m"): "meter", ("length", "mm"): "millimeter", ("length", "cm"): "centimeter",
    ("length", "km"): "kilometer", ("length", "in"): "inch", ("length", "ft"): "foot",
    ("area", "m2"): "meter**2", ("area", "cm2"): "centimeter**2",
    ("area", "mm2"): "millimeter**2", ("area", "ft2"): "foot**2", ("area", "in2"): "inch**2",
    ("volume", "m3"): "meter**3", ("volume", "l"): "liter", ("volume", "ft3"): "foot**3",
    ("volume flow", "m3/s"): "meter**3/second", ("volume flow", "m3/min"): "meter**3/minute",
    ("volume flow", "m3/h"): "meter**3/hour", ("volume flow", "l/s"): "liter/second",
    ("volume flow", "cfm"): "foot**3/minute", ("volume flow", "ft3/s"): "foot**3/second",
    ("mass flow", "kg/s"): "kilogram/second", ("mass flow", "kg/h"): "kilogram/hour",
    ("mass flow", "t/h"): "tonne/hour", ("mass flow", "lb/s"): "pound/second",
    ("mass flow", "lb/min"): "pound/minute", ("mass flow", "lb/h"): "pound/hour",
    ("pressure", "Pa"): "pascal", ("pressure", "hPa"): "hectopascal",
    ("pressure", "kPa"): "kilopascal", ("pressure", "MPa"): "megapascal",
    ("pressure", "mbar"): "millibar", ("pressure", "bar"): "bar",
    ("pressure", "psi"): "pound_force_per_square_inch",
    ("pressure", "in. w.g."): (2.54, "centimeter_H2O"),
    ("pressure", "mm w.g."): (0.1, "centimeter_H2O"),
    ("absolute pressure", "Pa"): "pascal", ("absolute pressure", "hPa"): "hectopascal",
    ("absolute pressure", "kPa"): "kilopascal", ("absolute pressure", "MPa"): "megapascal",
    ("absolute pressure", "mbar"): "millibar", ("absolute pressure", "bar"): "bar",
    ("absolute pressure", "psi"): "pound_force_per_square_inch",
    ("absolute pressure", "atm"): "atmosphere", ("absolute pressure", "in. Hg"): "inch_Hg",
    ("absolute pressure", "mm Hg"): "millimeter_Hg",
    ("temperature", "K"): "kelvin", ("temperature", "degC"): "degree_Celsius",
    ("temperature", "degF"): "degree_Fahrenheit",
    ("temperature difference", "K"): "kelvin",
    ("temperature difference", "degC"): "delta_degree_Celsius",
    ("temperature difference", "degF"): "delta_degree_Fahrenheit",
    ("density", "kg/m3"): "kilogram/meter**3", ("density", "lb/ft3"): "pound/foot**3",
    ("power", "W"): "watt", ("power", "kW"): "kilowatt", ("power", "MW"): "megawatt",
    ("power", "hp"): "horsepower",
    ("energy", "J"): "joule", ("energy", "kJ"): "kilojoule", ("energy", "MJ"): "megajoule",
    ("energy", "Wh"): "watt_hour", ("energy", "kWh"): "kilowatt_hour",
    ("energy", "MWh"): "megawatt_hour",
    ("inertia", "kg m2"): "kilogram*meter**2", ("inertia", "lb ft2"): "pound*foot**2",
    ("rotation speed", "rad/s"): "radian/second", ("rotation speed", "rpm"): "turn/minute",
    ("frequency", "Hz"): "1/second",
    ("repeat rate", "1/s"): "1/second", ("repeat rate", "1/min"): "1/minute",
    ("integral gain", "1/s"): "1/second", ("integral gain", "1/min"): "1/minute",
    ("fraction", "%"): (0.01, "dimensionless"),
    ("gas constant", "J/(kg K)"): "joule/(kilogram*kelvin)",
    ("gas constant", "kJ/(kg K)"): "kilojoule/(kilogram*kelvin)",
    ("voltage", "V"): "volt", ("voltage", "kV"): "kilovolt",
    ("current", "A"): "ampere", ("current", "kA"): "kiloampere",
    ("torque", "N m"): "newton*meter", ("torque", "kN m"): "kilonewton*meter",
    ("torque", "lb ft"): "pound_force*foot",
    ("velocity", "m/s"): "meter/second", ("velocity", "ft/s"): "foot/second",
    ("velocity", "ft/min"): "foot/minute",
}
"""Our kind and unit → the same in pint's words; pint's short names would not do: it reads `cfm`
as centifermi and `F` as farad."""

ALL_UNITS = [(kind, unit) for kind, table in units.KINDS.items() for unit in table]


def _si_name(kind: str) -> str:
    """pint's name of the SI unit of a kind, the first in our table."""
    if kind == "fraction":
        return "dimensionless"
    return str(PINT_NAMES[kind, next(iter(units.KINDS[kind]))])


@pytest.fixture(scope="module")
def oracle() -> pint.UnitRegistry:
    """pint's own definitions."""
    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def test_pint_is_asked_about_every_unit() -> None:
    """No unit escapes the oracle, and the oracle is asked about none that is gone."""
    assert set(PINT_NAMES) == set(ALL_UNITS)


@pytest.mark.parametrize(("kind", "unit"), ALL_UNITS)
def test_every_unit_agrees_with_pint(oracle: pint.UnitRegistry, kind: str, unit: str) -> None:
    """Source: pint's definitions file. Two values, so that an offset cannot hide."""
    for value in (1.0, 37.5):
        name = PINT_NAMES[kind, unit]
        factor, word = name if isinstance(name, tuple) else (1.0, name)
        expected = oracle.Quantity(value * factor, word).to(oracle.Unit(_si_name(kind))).magnitude
        assert units.parse(f"{value} {unit}", kind) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("text", "kind", "expected", "tolerance"), [
    # Source: unit definitions, computed from the foot, the pound and standard gravity.
    ("1 in. w.g.", "pressure", 249.089, 0.5e-3),
    ("1 cfm", "volume flow", 4.71947e-4, 0.5e-9),
    ("1 lb ft2", "inertia", 0.0421401, 0.5e-7),
    ("1 hp", "power", 745.70, 0.5e-2),
    ("1 rpm", "rotation speed", 2 * pi / 60, 1e-15),
    ("32 degF", "temperature", 273.15, 1e-9),
    ("212 degF", "temperature", 373.15, 1e-9),
])
def test_constants_of_the_trade(text: str, kind: str, expected: float, tolerance: float) -> None:
    """To their printed digits."""
    assert units.parse(text, kind) == pytest.approx(expected, abs=tolerance)


def test_air_horsepower_constant_is_6356() -> None:
    """hp = cfm · in. w.g. / 6356, a constant in use (from memory); within its printed digits."""
    horsepower = units.parse("1 hp", "power")
    one = units.parse("1 cfm", "volume flow") * units.parse("1 in. w.g.", "pressure")
    # 6343.3 with water as by convention (62.43 lb/ft³); 6356 takes water at 68 °F, 62.3 lb/ft³.
    thinner = units.parse("62.3 lb/ft3", "density") / 1000.0
    assert horsepower / one / thinner == pytest.approx(6356, abs=0.5)


@given(st.sampled_from(ALL_UNITS), st.floats(-1e9, 1e9))
def test_round_trip_gives_the_number_back(which: tuple[str, str], value: float) -> None:
    """Into SI and back. The tolerance is rounding, of the value and of the offset."""
    kind, unit = which
    back = units.convert(units.parse(f"{value!r} {unit}", kind), kind, unit)
    offset = units.KINDS[kind][unit].offset / units.KINDS[kind][unit].factor
    assert back == pytest.approx(value, rel=1e-14, abs=1e-15 + 4e-16 * abs(offset))


@given(st.text(max_size=30), st.sampled_from(list(units.KINDS)))
def test_any_text_is_a_number_or_a_unit_error(text: str, kind: str) -> None:
    """Nothing else comes out, and the error tells what was given and what is allowed."""
    try:
        assert isinstance(units.parse(text, kind), float)
    except UnitError as error:
        assert error.got and units.EXAMPLES[kind] in error.allowed


@pytest.mark.parametrize(("written", "kind", "unit"), [
    ("45 m³/s", "volume flow", "m3/s"), ("45m3/s", "volume flow", "m3/s"),
    ("45 m^3/s", "volume flow", "m3/s"), ("45 CFM", "volume flow", "cfm"),
    ("45 ft3/min", "volume flow", "cfm"), ("45 acfm", "volume flow", "cfm"),
    ("45 inwg", "pressure", "in. w.g."), ("45 in wg", "pressure", "in. w.g."),
    ("45 in. w.c.", "pressure", "in. w.g."), ("45 inH2O", "pressure", "in. w.g."),
    ("45 KPA", "pressure", "kPa"), ("45 psig", "pressure", "psi"),
    ("45 psia", "absolute pressure", "psi"), ("45 inHg", "absolute pressure", "in. Hg"),
    ("45 °C", "temperature", "degC"), ("45 ℃", "temperature", "degC"),
    ("45 F", "temperature", "degF"), ("45 repeats/min", "repeat rate", "1/min"),
    ("45 /min", "repeat rate", "1/min"), ("45 1/s", "integral gain", "1/s"),
    ("45 kg·m²", "inertia", "kg m2"),
    ("45 kg-m2", "inertia", "kg m2"), ("45 lb-ft²", "inertia", "lb ft2"),
    ("45 KW", "power", "kW"), ("45 HP", "power", "hp"), ("45 RPM", "rotation speed", "rpm"),
    ("45 1/min", "rotation speed", "rpm"), ("45%", "fraction", "%"), ("45 Nm", "torque", "N m"),
    ("4.5e1 hours", "time", "h"), ("+45. s", "time", "s"), ("45 lb/hr", "mass flow", "lb/h"),
])
def test_units_are_taken_as_people_write_them(written: str, kind: str, unit: str) -> None:
    """Spaces, dots, superscripts and capitals do not matter where nothing can be mistaken."""
    assert units.parse(written, kind) == units.parse(f"45 {unit}", kind)


@pytest.mark.parametrize(("written", "kind", "word"), [
    ("45", "volume flow", "the unit is missing"),
    ("m3/s", "volume flow", "begins with its number"),
    ("3,5 kPa", "pressure", "comma"),
    ("5 mW", "power", "did you mean MW?"),
    ("5 mpa", "pressure", "did you mean MPa?"),
    ("50 Hz", "rotation speed", "Hz is a unit of frequency"),
    ("990 rpm", "frequency", "rpm is a unit of rotation speed"),
    ("14.7 psia", "pressure", ""),
    ("2 psig", "absolute pressure", ""),
    ("5 kg/s", "volume flow", "kg/s is a unit of mass flow"),
    ("9 scfm", "volume flow", "mass"),
    ("9 Nm3/h", "volume flow", "mass"),
    ("0.3", "fraction", "the unit is missing"),
    ("1e999 s", "time", "too large"),
    ("45 m3/z", "volume flow", "did you mean m3/s?"),
    ("1_000 Pa", "pressure", ""),
    ("٤٥ Pa", "pressure", "begins with its number"),
])
def test_what_could_be_mistaken_is_refused(written: str, kind: str, word: str) -> None:
    """With a hint where there is one."""
    with pytest.raises(UnitError) as caught:
        units.parse(written, kind)
    assert word in caught.value.hint
    assert isinstance(caught.value, ValueError) and isinstance(caught.value, SimfanError)


def test_no_spelling_stands_for_two_units_of_a_kind() -> None:
    """Folding must not make two units one."""
    for kind, table in units.KINDS.items():
        words = [_fold(word) for name, unit in table.items() for word in (name, *unit.also)]
        assert len(set(words)) == len(words), kind


def test_every_kind_has_an_example_and_a_unit_to_show() -> None:
    """And the example is a quantity of that kind."""
    assert set(units.KINDS) == set(units.EXAMPLES) == set(units.PREFERRED)
    for kind, example in units.EXAMPLES.items():
        units.parse(example, kind)
        assert {units.preferred(kind, "si"), units.preferred(kind, "us")} <= set(units.KINDS[kind])


@pytest.mark.parametrize(("value", "kind", "system", "shown"), [
    (45.0, "volume flow", "si", "45 m3/s"),
    (45.0, "volume flow", "us", "95350 cfm"),  # 45 / 4.719474e-4 = 95349.6
    (4373.2, "pressure", "si", "4373 Pa"),
    (996.35564, "pressure", "us", "4 in. w.g."),
    (990 * 2 * pi / 60, "rotation speed", "si", "990 rpm"),
    (303.15, "temperature", "si", "30 degC"),
    (303.15, "temperature", "us", "86 degF"),
    (0.05, "fraction", "si", "5 %"),
    (0.0, "pressure", "si", "0 Pa"),
    (-0.0, "pressure", "si", "0 Pa"),
    (1.23456e-3, "time", "si", "0.00123 s"),
    (99.96, "time", "si", "100 s"),
    (float("nan"), "time", "si", "nan s"),
])
def test_show_gives_three_digits_and_a_unit(value: float, kind: str, system: units.System,
                                            shown: str) -> None:
    """Digits left of the point are kept."""
    assert units.show(value, kind, system) == shown


def test_the_table_can_be_printed() -> None:
    """Every unit says where its factor comes from."""
    assert all(unit.definition for table in units.KINDS.values() for unit in table.values())
    json.dumps(units.KINDS)
