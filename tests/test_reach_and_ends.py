"""What ends a range, and how far settings reach, with each limit in turn; and the path of least
power within them."""

from typing import Any

import pytest

from simfan.operating_map import Turndown
from simfan.plant.case import Case
from simfan.steady.path import strategy_map
from tests.plants import DAMPER, GAINS, plain

DRIVE = {"ramp_up": 40.0, "ramp_down": 60.0}
OPEN_PLACE = {**DAMPER, "place": "before volume"}


def case(criteria: dict[str, Any] | None = None, **changes: Any) -> Case:
    """Fan B with one strategy, "it", on the plain duct; the rest as it is said."""
    return plain(criteria=criteria or {}, **changes)


def driven(criteria: dict[str, Any] | None = None, speed: dict[str, Any] | None = None,
           **changes: Any) -> Case:
    """Variable speed."""
    way = {"speed": DRIVE | (speed or {}), "controller": GAINS}
    return case(criteria, strategies={"it": way}, **changes)


def both(criteria: dict[str, Any] | None = None, speed: dict[str, Any] | None = None,
         **changes: Any) -> Case:
    """Vanes and speed together."""
    way = {"inlet_vanes": {"stroke_time": 10.0}, "speed": DRIVE | {"minimum": 0.4} | (speed or {}),
           "sequence": {"order": "together"}, "controller": GAINS}
    return case(criteria, strategies={"it": way}, **changes)


def ends(it: Case, name: str = "it") -> Turndown:
    return strategy_map(it, name, 41).turndown


def damped(place: str, **changes: Any) -> Case:
    way = {"outlet_damper": {**DAMPER, "place": place}, "controller": GAINS}
    return case(strategies={"it": way}, **changes)


PARABOLA = {"design": {"flow": 45.0, "pressure": 3500.0}}
SKIP = {"low": 0.30, "high": 0.60}
ABOVE = [
    ("wide open", damped("before volume"), "outlet damper wide open"),
    ("highest speed", driven(), "highest speed, 100 % of rated"),
    ("torque", driven({"motor_load": None}, {"torque_limit": 0.5}), "torque limit of the drive"),
    ("motor", driven({"motor_load": 0.5}), "motor load above 50 %"),
    ("safe speed", driven({"speed": 0.9}), "speed above 90 %"),
    ("pressure", driven({"highest_pressure": 3000.0}), "pressure of the volume above 3000 Pa"),
]
BELOW = [
    ("leakage", case(strategies={"it": {"inlet_vanes": {"stroke_time": 10.0}, "controller": GAINS}},
                     process=PARABOLA), "inlet vanes shut: what passes is its leakage"),
    ("lowest speed", driven(process=PARABOLA), "minimum speed, 30 % of rated"),
    ("stall margin", damped("before volume"), "left of the peak"),
    ("swings", driven({"stall_margin": -1.0}, ductwork={
        "discharge": {"length": 20.0, "area": 4.0}, "volume": 5000.0}), "dynamically unstable"),
    ("slides", driven({"stall_margin": -1.0}, ductwork={
        "discharge": {"length": 20.0, "area": 4.0}, "volume": 1.0}, process={
            "fixed_pressure": 2700.0, "design": {"flow": 48.0, "pressure": 4000.0}}),
     "statically unstable"),
]




@pytest.mark.parametrize(("it", "words"), [row[1:] for row in ABOVE], ids=[r[0] for r in ABOVE])
def test_the_upper_end_is_named(it: Case, words: str) -> None:
    found = ends(it)
    assert words in found.ended_above_by
    assert found.highest is not None and found.highest.missed == ()


@pytest.mark.parametrize(("it", "words"), [row[1:] for row in BELOW], ids=[r[0] for r in BELOW])
def test_the_lower_end_is_named(it: Case, words: str) -> None:
    found = ends(it)
    assert words in found.ended_below_by
    assert found.lowest is not None and found.lowest.missed == ()
