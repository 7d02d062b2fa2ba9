"""Descriptions are frozen, SI, and valid once built."""

from collections.abc import Callable, Iterator
from math import pi
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
from pydantic import BaseModel, ValidationError

from simfan import scenario
from simfan.plant.air import Air
from simfan.plant.case import Case
from simfan.plant.control import Controller
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.fan import Fan
from simfan.plant.numbers import FROM_FILE
from simfan.plant.quantities import Description, mark_of
from simfan.scenario.assumed import source
from simfan.scenario.sentences import inner_types

KILN = Path(__file__).parents[1] / "scenarios" / "kiln-air.toml"

POINTS: dict[str, Any] = {
    "rated": {"speed": 990 * pi / 30, "density": 1.2},
    "flow": [0.0, 10.0, 20.0, 30.0, 40.0],
    "static_pressure": [4000.0, 4400.0, 4500.0, 4000.0, 2500.0],
    "shaft_power": [60e3, 90e3, 130e3, 160e3, 170e3],
    "inertia": 280.0,
    "max_safe_speed": 1150 * pi / 30,
}


def test_a_description_from_python_is_si() -> None:
    """Floats are taken as they are; a text with a unit is taken, too."""
    assert Air(temperature=303.15).temperature == 303.15
    assert Air.model_validate({"temperature": "30 degC"}).temperature == pytest.approx(303.15)
    assert Fan.model_validate(POINTS).flow == (0.0, 10.0, 20.0, 30.0, 40.0)


def test_a_bare_number_from_a_file_is_refused_where_a_unit_is_needed() -> None:
    """The same number from Python is SI."""
    with pytest.raises(ValidationError, match="without a unit"):
        Air.model_validate({"temperature": 303.15}, context=FROM_FILE)
    with pytest.raises(ValidationError, match="together with its unit"):
        Fan.model_validate(POINTS, context=FROM_FILE)


def test_a_description_cannot_be_changed_nor_given_unknown_keys() -> None:
    """Frozen, and closed."""
    air = Air()
    with pytest.raises(ValidationError):
        air.temperature = 300.0  # type: ignore[misc]
    with pytest.raises(ValidationError):
        Air.model_validate({"humidity": 0.5})


@pytest.mark.parametrize("value", [True, float("nan"), float("inf"), -1.0, None, [], 10**400])
def test_what_is_no_sensible_number_is_refused(value: object) -> None:
    """A truth is no number; nothing infinite; no temperature below absolute zero."""
    with pytest.raises(ValidationError):
        Air.model_validate({"temperature": value})
    with pytest.raises(ValidationError):
        Controller.model_validate({"gain": value, "reset": 8.0})


def test_air_of_the_kiln_has_the_density_of_the_ideal_gas() -> None:
    """ρ = p/(RT) = 98600/(287.05·303.15) = 1.1331 kg/m³, by hand."""
    assert scenario.load(KILN).air.density == pytest.approx(1.1331, abs=5e-5)


def test_dry_air_at_20_degrees_is_1_204() -> None:
    """Ideal gas at 101325 Pa; the value of every table."""
    assert Air().density == pytest.approx(1.204, abs=5e-4)


def test_motor_speed_follows_poles_frequency_slip_and_belt() -> None:
    """n = 60·2f/p·(1 − s): 6 poles, 50 Hz, 1 % → 990 rpm; 4 poles, 60 Hz, belt .5 → 891 rpm."""
    six = Motor(rating=315e3, poles=6)
    four = Motor(rating=100e3, poles=4, frequency=60.0, belt_ratio=0.5)
    assert six.rated_speed * 30 / pi == pytest.approx(990.0)
    assert four.rated_speed * 30 / pi == pytest.approx(891.0)
    assert six.rated_torque == pytest.approx(315e3 / (990.0 * pi / 30))


def _told(build: Callable[[], object]) -> str:
    with pytest.raises(ValidationError) as caught:
        build()
    return str(caught.value)


@pytest.mark.parametrize(("change", "key", "words"), [
    ({"flow": [0, 10, 20, 30], "static_pressure": [5, 4, 3, 2], "shaft_power": [9e3] * 4},
     "flow.values", "4 points"),
    ({"flow": [0.0, 10.0, 10.0, 30.0, 40.0]}, "flow.values#3", "10 m3/s after 10 m3/s"),
    ({"shaft_power": [60e3, 90e3, 130e3, 160e3]}, "shaft_power.values", "4 values"),
    ({"static_pressure": None}, "static_pressure", "either static_pressure or total_pressure"),
    ({"total_pressure": [1.0] * 5, "outlet_area": 3.0}, "total_pressure", "one of the two"),
    ({"static_pressure": None, "total_pressure": POINTS["static_pressure"]},
     "outlet_area", "without outlet_area"),
    ({"static_pressure": [-1.0] * 5}, "static_pressure.values", "no value above zero"),
    ({"shaft_power": [60e3, 90e3, 80e3, 160e3, 170e3]}, "shaft_power.values#3",
     "at least the air power of that point, 90 kW (20 m3/s times 4500 Pa)"),
    ({"max_safe_speed": 900 * pi / 30}, "max_safe_speed", "at least the rated speed, 990 rpm"),
    ({"stall_flow": 41.0}, "stall_flow", "below the last point, 40 m3/s"),
    ({"shutoff_pressure": 4100.0}, "shutoff_pressure", "first point is at zero flow"),
    ({"inertia": 0.0}, "inertia", "above 0 kg m2"),
])
def test_a_fan_that_cannot_be_is_refused(change: dict[str, Any], key: str, words: str) -> None:
    """Each with the key at fault and what is allowed."""
    told = _told(lambda: Fan.model_validate(POINTS | change))
    assert key in told and words in told


def test_all_mistakes_of_a_fan_are_told_at_once() -> None:
    """Three of them, from three different checks."""
    told = _told(lambda: Fan.model_validate(POINTS | {
        "flow": [0.0, 10.0, 9.0, 30.0, 40.0], "shaft_power": [1.0] * 5, "max_safe_speed": 1.0}))
    assert "flow.values#3" in told and "shaft_power.values#2" in told and "max_safe_speed" in told


def test_power_equal_to_air_power_is_the_last_that_is_taken() -> None:
    """An efficiency of 100 % is not for the checker to judge; above it, it is."""
    flow, pressure = POINTS["flow"], POINTS["static_pressure"]
    exact = [max(q * p, 1.0) for q, p in zip(flow, pressure, strict=True)]
    Fan.model_validate(POINTS | {"shaft_power": exact})
    exact[2] *= 0.999
    assert "shaft_power.values#3" in _told(lambda: Fan.model_validate(
        POINTS | {"shaft_power": exact}))


@pytest.mark.parametrize("poles", [0, 1, 5, 102, -2, 4.0])
def test_poles_are_a_small_even_whole_number(poles: float) -> None:
    """2, 4, 6 and so on."""
    _told(lambda: Motor.model_validate({"rating": 1e3, "poles": poles}))


def test_a_drive_has_room_between_minimum_and_maximum() -> None:
    """Equal is no room."""
    assert "less than maximum" in _told(
        lambda: SpeedDrive(ramp_up=10.0, ramp_down=10.0, minimum=0.8, maximum=0.8))


def _fields(model: type[BaseModel] = Case, above: str = "") -> Iterator[tuple[str, Any]]:
    for name, field in model.model_fields.items():
        yield f"{above}{name}", field
        for inner in inner_types(field.annotation):
            yield from _fields(inner, f"{above}{name}.")


WITHOUT_CONSEQUENCE = {"timeline.over", "timeline.because", "energy.currency", "timeline"}
"""Defaults that stand for "nothing happens" or "no remark"."""


def test_every_default_says_where_it_comes_from() -> None:
    """So that `assumed` can tell it."""
    silent = {key for key, field in _fields()
              if not field.is_required() and field.default is not None
              and not isinstance(field.default, Description) and not source(field)}
    assert silent == WITHOUT_CONSEQUENCE


def test_every_default_is_itself_allowed() -> None:
    """pydantic does not check defaults; a default outside its own limits would be a lie."""
    for key, field in _fields():
        mark = mark_of(field)
        if mark is not None and not field.is_required() and field.default is not None:
            assert mark.limits.hold(field.default), key  # type: ignore[union-attr]


def test_every_number_has_limits() -> None:
    """No bare float: each has a kind or is a plain number with its own limits."""
    for key, field in _fields():
        kinds = {field.annotation, *get_args(field.annotation)}
        if kinds & {float, int} and get_origin(field.annotation) is not dict:
            assert mark_of(field) is not None, key
