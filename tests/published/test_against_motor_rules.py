"""Torque of an induction motor, on the line and on a drive.

Kloss's formula, values calculated from it: breakdown 2.5 of rated torque, rated slip .01. Field
weakening: a university page on drives gives, for a 100 hp motor of 60 Hz at 75 Hz, 80 % torque,
125 % speed, 100 % power (published); breakdown torque falls as 1/f² (textbook, from memory).
"""

from typing import Any

import numpy as np

from simfan.assemble import assemble
from simfan.plant.case import Case
from simfan.steady.bench import Bench
from tests.plants import DAMPER, GAINS, fan, plain
from tests.published.record import checked

HP = 745.69987


def torque(case: Case, speed: float) -> float:
    """Motor torque over rated torque at a fan speed, over rated."""
    bench = Bench(assemble(case, "it", 0.025, 0.25))
    bench.stand(np.array([1.0]))
    x = np.zeros(bench.off.end)
    x[:3] = bench.p0, 10.0, speed
    bench.slopes(x)
    return float(bench.probe.fan.motor_torque[0] / bench.plant.rotors.each.rated_torque[0])


def on_the_line() -> Case:
    """Fan B's wheel on a six-pole motor with breakdown torque 2.5 and slip .01."""
    motor = {"rating": 315e3, "poles": 6, "slip": 0.01, "breakdown_torque": 2.5}
    damper = {**DAMPER, "place": "after volume"}
    return plain(motor=motor, strategies={"it": {"outlet_damper": damper, "controller": GAINS}})


def on_a_drive(**drive: Any) -> Case:
    """A 100 hp motor of 60 Hz that turns a wheel at its own rated speed; the drive wants more."""
    wheel = fan("B")
    motor = {"rating": 100.0 * HP, "poles": 6, "frequency": 60.0, "slip": 0.01,
             "breakdown_torque": 2.5, "belt_ratio": 990.0 / 1188.0}
    wheel["max_safe_speed"] = 2.0 * wheel["max_safe_speed"]
    speed = {"ramp_up": 40.0, "ramp_down": 60.0, "maximum": 2.0} | drive
    return plain(fan=wheel, motor=motor, strategies={"it": {"speed": speed, "controller": GAINS}},
                 run={"duration": 10.0, "starts_at": 30.0}, timeline=[])


def test_kloss() -> None:
    synchronous = 1000.0 / 990.0
    case = on_the_line()
    for slip, expected in ((0.005, 0.516), (0.01, 1.0)):
        assert torque(case, (1.0 - slip) * synchronous) == checked(
            expected, "torque over rated", abs=5e-4)
    breakdown_slip = 0.047913
    assert torque(case, (1.0 - breakdown_slip) * synchronous) == checked(
        2.5, "breakdown torque", abs=1e-6)
    nearby = [torque(case, (1.0 - breakdown_slip + d) * synchronous) for d in (-1e-4, 1e-4)]
    assert max(nearby) < 2.5
    assert torque(case, synchronous) == checked(0.0, "torque at synchronous speed", abs=1e-12)
    assert torque(case, 1.01 * synchronous) == checked(
        -1.0, "torque above it", abs=5e-4)  # it brakes


def test_field_weakening_keeps_the_power() -> None:
    """At 75 Hz on a 60 Hz base."""
    expected_torque, expected_speed, expected_power = 0.80, 1.25, 1.00
    case = on_a_drive(torque_limit=1.0)
    assert torque(case, expected_speed) == checked(expected_torque, "torque", abs=1e-9)
    assert torque(case, expected_speed) * expected_speed == checked(
        expected_power, "power", abs=1e-9)
    for speed in (0.0, 0.5, 1.0):
        assert torque(case, speed) == checked(1.0, "torque up to base speed", abs=1e-12)


def test_breakdown_torque_falls_with_the_square_of_frequency() -> None:
    """Current limit 2.2: 2.2/f to f = 2.5/2.2, beyond it 2.5/f²; calculated."""
    case = on_a_drive(torque_limit=2.2)
    for speed, expected in ((1.1, 2.2 / 1.1), (1.25, 2.5 / 1.5625), (1.6, 2.5 / 2.56)):
        assert torque(case, speed) == checked(expected, "torque", rel=1e-9)
