"""Descriptions are frozen, SI, and valid once built."""

from collections.abc import Callable, Iterator
from copy import deepcopy
from math import pi
from pathlib import Path
from typing import Any, get_args, get_origin

import pytest
from pydantic import BaseModel, ValidationError

from simfan import scenario
from simfan.plant.air import Air
from simfan.plant.case import Case
from simfan.plant.control import Control, Controller
from simfan.plant.damper import OutletDamper
from simfan.plant.drive import Motor, SpeedDrive
from simfan.plant.fan import Fan
from simfan.plant.held import kind_of
from simfan.plant.inlet import InletVanes
from simfan.plant.numbers import FROM_FILE
from simfan.plant.quantities import Description, mark_of
from simfan.plant.run import Run
from simfan.plant.strategy import Strategy
from simfan.plant.stress import Between
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


def test_rated_current_follows_from_the_nameplate() -> None:
    """I = P/(√3·V·η·cos φ), by hand: 315 kW, 690 V, .958, .86 → 319.9 A; 22 kW → 40.65 A."""
    large = Motor(rating=315e3, poles=6, voltage=690.0, efficiency=0.958, power_factor=0.86)
    small = Motor(rating=22e3, poles=4, voltage=400.0, efficiency=0.93, power_factor=0.84)
    assert large.rated_current == pytest.approx(319.9, abs=0.05)
    assert small.rated_current == pytest.approx(40.65, abs=0.005)


def test_what_is_held_remembers_its_kind_and_is_a_plain_number() -> None:
    """54 kg/s, 45 m³/s and −1 in. w.g. are all SI floats; a bare float has no kind."""
    given = [Run(duration=1.0, starts_at=at).starts_at for at in ("54 kg/s", "2 kPa", 45.0)]
    assert given == [54.0, 2000.0, 45.0]
    assert [kind_of(value) for value in given] == ["mass flow", "pressure", None]
    assert [kind_of(copy) for copy in map(deepcopy, given)] == ["mass flow", "pressure", None]


def test_the_ends_of_a_span() -> None:
    """From zero, from low to high, or not given."""
    assert Control(scan=0.25).span_ends is None
    assert Control(scan=0.25, span=50.0).span_ends == (0.0, 50.0)
    draft = Control.model_validate({"holds": "pressure", "scan": 0.25,
                                    "span": {"low": "-500 Pa", "high": "100 Pa"}})
    assert draft.span_ends == (-500.0, 100.0)
    assert draft.held_kind == "pressure"


def test_a_strategy_has_the_name_of_what_moves() -> None:
    """The trade's words for all five."""
    vanes, speed = {"stroke_time": 10.0}, {"ramp_up": 40.0, "ramp_down": 60.0}
    damper = {"stroke_time": 12.0, "area": 4.0, "blades": "opposed", "place": "at fan"}
    made = [Strategy.model_validate(given).method for given in (
        {"outlet_damper": damper}, {"inlet_box_damper": vanes}, {"inlet_vanes": vanes},
        {"speed": speed},
        {"inlet_vanes": vanes, "speed": speed, "sequence": {"order": "together"}})]
    assert made == ["outlet damper", "inlet box damper", "inlet vanes", "variable speed",
                    "vanes and speed"]


def _family(**closed: Any) -> list[dict[str, Any]]:
    """Curves at 30, 60 and 100 %, the first with changes."""
    power = [90e3, 140e3, 190e3, 200e3]
    return [
        {"opening": 0.3, "flow": [0.0, 10.0, 20.0, 30.0], "shaft_power": power,
         "static_pressure": [4000.0, 3500.0, 2500.0, 500.0]} | closed,
        {"opening": 0.6, "flow": [5.0, 20.0, 30.0, 50.0], "shaft_power": power,
         "static_pressure": [4100.0, 4000.0, 3500.0, 1000.0]},
        {"opening": 1.0, "flow": [0.0, 20.0, 30.0, 40.0], "shaft_power": power,
         "static_pressure": [4000.0, 4500.0, 4000.0, 2500.0]},
    ]


def _vanes(**closed: Any) -> InletVanes:
    return InletVanes.model_validate({"stroke_time": 10.0, "family": _family(**closed)})


def test_a_family_is_compared_where_both_curves_exist() -> None:
    """Highest pressure 4500 Pa, so 22.5 Pa of slack: 4020 Pa over 4000 at no flow pass, 4030 do
    not. The curve at 60 % begins at 5 m³/s and has nothing to say there."""
    _vanes(static_pressure=[4020.0, 3500.0, 2500.0, 500.0])
    told = _told(lambda: _vanes(static_pressure=[4030.0, 3500.0, 2500.0, 500.0]))
    assert "got 4030 Pa at 0 m3/s, 30 % open; allowed: at most 4000 Pa, the curve at 100 %" in told


def test_a_crossing_between_points_is_found() -> None:
    """A curve with few points, over a knee of the other: 30 % is straight from 4000 to 500 Pa over
    30 m³/s, the other has a point at 20 m³/s, 4000 Pa; raised, it crosses there alone."""
    told = _told(lambda: _vanes(flow=[0.0, 10.0, 28.0, 30.0],
                                static_pressure=[4000.0, 4000.0, 4100.0, 500.0]))
    assert "at 28 m3/s" in told and "at most 3600 Pa, the curve at 60 %" in told


def test_what_has_no_effect_is_not_told_as_assumed() -> None:
    """The model's numbers beside measured curves; the blades' curve beside measured losses."""
    assert set(_vanes().idle()) == {"swirl", "turn", "loss", "leakage"}
    measured = OutletDamper.model_validate({
        "stroke_time": 12.0, "area": 4.0, "place": "after volume",
        "losses": {"opening": [0.0, 1.0], "loss": [9000.0, 0.5]}})
    assert set(measured.idle()) == {"blades", "open_loss", "shut_loss"}
    assert set(Controller(gain=1.0, reset=8.0).idle()) == {
        "form", "derivative_filter", "gap_gain"}
    assert not Controller(gain=1.0, reset=8.0, derivative=2.0, gap=0.01).idle()


def test_a_file_of_curves_is_for_scenario_files_only() -> None:
    """A description from Python takes the curves themselves."""
    told = _told(lambda: InletVanes(stroke_time=10.0, family_file="curves.csv"))
    assert "only a scenario file may name a file of curves" in told


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


WITHOUT_CONSEQUENCE = {"timeline.over", "timeline.because", "energy.currency", "timeline",
                       "strategies.overrides", "protection", "procedures.run_back",
                       "procedures.start.over", "procedures.stop.over", "procedures.run_back.over",
                       "tags.alarms", "trend.good", "trend.bad"}
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
            for value in field.default if isinstance(mark, Between) else (field.default,):
                limits = mark.item.limits if isinstance(mark, Between) else mark.limits
                assert limits.hold(value), key


def test_every_number_has_limits() -> None:
    """No bare float: each has a kind or is a plain number with its own limits."""
    for key, field in _fields():
        kinds = {field.annotation, *get_args(field.annotation)}
        if kinds & {float, int} and get_origin(field.annotation) is not dict:
            assert mark_of(field) is not None, key
